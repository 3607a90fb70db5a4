// `other-job` among 200 published jobs: what a text costs that the ticket's own job does not take, and how it grows with the jobs.
import { writeFile } from 'node:fs/promises'
import path from 'node:path'
import { buildCodeIndex, type CodeIndex, openCodeIndex } from '../../src/codes/index.ts'
import { assert } from '../../src/kernel/assert.ts'
import type { FrozenJob } from '../../src/lines/index.ts'
import { compileRule } from '../../src/packages/index.ts'
import { type OutsideJob, openResolver } from '../../src/runs/resolve.ts'
import type { Bench, BenchTools } from './bench.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, timeRow } from './rows.ts'

const symbologies = ['qr'] as const
const template = '{job}/{design}/{print:2}/{serial:6d}'
const own = { job: 'OWN', pins: {}, versions: [], code: { rule: 'template', symbologies: [...symbologies], template } }
const textsPerRound = 5_000

async function tableIndex({ folder, quick }: BenchTools): Promise<CodeIndex> {
  const into = await folder('table')
  const rows = Array.from(
    { length: quick ? 10_000 : 100_000 },
    (_, i) => `CODE${String(i * 7919).padStart(20, '0')},D\n`,
  )
  const csvPath = path.join(into, 'codes.csv')
  await writeFile(csvPath, `code,design\n${rows.join('')}`)
  const outPath = path.join(into, 'index')
  const built = await buildCodeIndex({ csvPath, outPath, temporaryFolder: into })
  assert(built.built, 'the table is sound')
  return openCodeIndex(outPath)
}

// Half of the jobs have templates, three in ten tables, the rest GS1.
function outsideJobs(count: number, index: CodeIndex): readonly OutsideJob[] {
  return Array.from({ length: count }, (_, i): OutsideJob => {
    const job = `JOB${i}`
    const parts = { job, designs: ['D'], indexes: [index] }
    const designs = { has: (design: string) => design === 'D' }
    if (i % 10 < 5)
      return { job, designs, rule: compileRule({ rule: 'template', symbologies: [...symbologies], template }, parts) }
    if (i % 10 < 8) {
      const table = { rule: 'table' as const, symbologies: [...symbologies], file: 'codes.csv', sha256: '0'.repeat(64) }
      return { job, designs, rule: compileRule(table, parts) }
    }
    return {
      job,
      designs,
      rule: compileRule({ rule: 'gs1', symbologies: [...symbologies], design: '01', serial: '21' }, parts),
    }
  })
}

/** Fresh strings each time, as texts from a reader are. */
const textsOf = (textOf: (i: number) => string): string[] =>
  Array.from({ length: textsPerRound }, (_, i) => Buffer.from(textOf(i)).toString('latin1'))

export const benchOtherJob: Bench = async (tools) => {
  const index = await tableIndex(tools)
  const rows: Row[] = []
  for (const jobs of [20, 200]) {
    const outside = outsideJobs(jobs, index)
    const last = outside.findLast((_, i) => i % 10 < 5)?.job ?? ''
    const frozen = own as unknown as FrozenJob
    const rule = compileRule(frozen.code, { job: 'OWN', designs: [] })
    const resolver = openResolver([{ job: frozen, rule }], () => outside)
    const kinds = {
      unknown: textsOf((i) => `NOBODY-${String(i).padStart(17, '0')}`),
      last: textsOf((i) => `${last}/D/01/${String(i).padStart(6, '0')}`),
      hostile: textsOf((i) => `${'A/'.repeat(95)}${String(i).padStart(8, '0')}`),
      rule: textsOf((i) => `OWN/D/01/${String(i).padStart(6, '0')}`),
    }
    let found = 0
    const each = async (texts: readonly string[], work: (text: string) => unknown): Promise<number> => {
      const ms = await timed(() => {
        for (const text of texts) if (work(text)) found += 1
      })
      return (1e3 * ms) / texts.length
    }
    const resolve = (text: string) => resolver.resolve(text, ']Q1', 1).kind !== 'unknown'
    const figures = await interleave(
      { rounds: tools.quick ? 3 : 7, warmUp: 1 },
      {
        unknown: () => each(kinds.unknown, resolve),
        last: () => each(kinds.last, resolve),
        hostile: () => each(kinds.hostile, resolve),
        own: () => each(kinds.rule, (text) => rule.match(text)),
      },
    )
    assert(found > 0, 'codes of other jobs were found')
    const against = [{ what: "the own job's rule alone", figures: figures.own }]
    const among = `among ${jobs} published jobs`
    rows.push(
      timeRow({ what: `other-job ${among}: a text that nobody knows`, unit: 'µs', figures: figures.unknown, against }),
      timeRow({ what: `other-job ${among}: a code of one of the last`, unit: 'µs', figures: figures.last, against }),
      timeRow({
        what: `other-job ${among}: a hostile text of 198 characters`,
        unit: 'µs',
        figures: figures.hostile,
        against,
      }),
    )
  }
  index.close()
  return rows
}
