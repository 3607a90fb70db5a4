// `npm run bench [-- name…] [--quick]`: runs the benches named, or all but the long ones, prints one table and leaves it as
// `bench-results.json` and `bench-results.md`. Runs built code, as the server does.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { parseArgs } from 'node:util'
import { benchAnswers } from './answers.bench.ts'
import { type Bench, type BenchTools, root } from './bench.ts'
import { benchCodeIndex } from './code-index.bench.ts'
import { benchDayOrder } from './day-order.bench.ts'
import { benchDeciding } from './deciding.bench.ts'
import { benchGs1 } from './gs1.bench.ts'
import { benchLine } from './line.bench.ts'
import { buildLongRun, type LongRun } from './long-run.ts'
import { describeMachine, machineText } from './machine.ts'
import { benchOtherJob } from './other-job.bench.ts'
import { benchPasses } from './passes.bench.ts'
import { benchPublish } from './publish.bench.ts'
import { benchReadiness } from './readiness.bench.ts'
import { benchReading } from './reading.bench.ts'
import { benchRecordPdf } from './record-pdf.bench.ts'
import { benchRecords } from './records.bench.ts'
import { benchReplay } from './replay.bench.ts'
import { timed } from './rounds.ts'
import { markdownTable, type Row, textTable } from './rows.ts'
import { benchSteady } from './steady.bench.ts'
import { benchSums } from './sums.bench.ts'
import { benchVerify } from './verify.bench.ts'

const benches: Readonly<Record<string, Bench>> = {
  answers: benchAnswers,
  steady: benchSteady,
  line: benchLine,
  publish: benchPublish,
  reading: benchReading,
  deciding: benchDeciding,
  gs1: benchGs1,
  'other-job': benchOtherJob,
  'day-order': benchDayOrder,
  passes: benchPasses,
  readiness: benchReadiness,
  records: benchRecords,
  'record-pdf': benchRecordPdf,
  replay: benchReplay,
  verify: benchVerify,
  sums: benchSums,
}

/** Minutes each, so only where they are named. */
const longBenches: Readonly<Record<string, Bench>> = { 'code-index': benchCodeIndex }
const allBenches = { ...benches, ...longBenches }

const { values, positionals } = parseArgs({
  options: { quick: { type: 'boolean', default: false } },
  allowPositionals: true,
})
const unknown = positionals.filter((name) => !(name in allBenches))
if (unknown.length > 0) {
  process.stderr.write(`no bench ${unknown.join(', ')}; there are ${Object.keys(allBenches).join(', ')}\n`)
  process.exit(2)
}

const workshop = await mkdtemp(path.join(tmpdir(), 'rollcall-bench-'))

function toolsFor(bench: string): BenchTools {
  const folder = (name: string) => mkdtemp(path.join(workshop, `${name}-`))
  const tell = (text: string) => process.stderr.write(`  ${bench}: ${text}\n`)
  return {
    quick: values.quick,
    folder,
    tell,
    longRun(frames) {
      const known = longRuns.get(frames)
      if (known) return known
      tell(`building a run of ${frames} frames`)
      const built = folder('run').then((into) => buildLongRun(into, frames))
      longRuns.set(frames, built)
      return built
    },
  }
}
const longRuns = new Map<number, Promise<LongRun>>()

interface Result {
  readonly bench: string
  readonly seconds: number
  readonly rows: readonly Row[]
  readonly failure?: string
}

async function runBench(name: string): Promise<Result> {
  process.stderr.write(`${name}\n`)
  let rows: readonly Row[] = []
  let failure: string | undefined
  const ms = await timed(async () => {
    try {
      rows = (await allBenches[name]?.(toolsFor(name))) ?? []
    } catch (error) {
      failure = error instanceof Error ? (error.stack ?? error.message) : String(error)
      process.stderr.write(`${failure}\n`)
    }
  })
  process.stderr.write(`  ${name}: ${(ms / 1000).toFixed(1)} s\n`)
  return { bench: name, seconds: ms / 1000, rows, ...(failure === undefined ? {} : { failure }) }
}

try {
  const machine = await describeMachine(workshop)
  const results: Result[] = []
  for (const name of positionals.length > 0 ? positionals : Object.keys(benches)) results.push(await runBench(name))
  const rows = results.flatMap((result) => result.rows)
  const head = `${machineText(machine)}${values.quick ? '\nA smoke run: small sizes, few rounds; not for quoting.' : ''}`
  process.stdout.write(`${head}\n\n${textTable(rows)}\n`)
  const report = { quick: values.quick, machine, results }
  await writeFile(path.join(root, 'bench-results.json'), `${JSON.stringify(report, null, 2)}\n`)
  await writeFile(path.join(root, 'bench-results.md'), `# Figures\n\n${head}\n\n${markdownTable(rows)}\n`)
  if (results.some(({ failure }) => failure !== undefined)) process.exitCode = 1
} finally {
  await rm(workshop, { recursive: true, force: true, maxRetries: 3 })
}
