// A roll across its passes, over real runs: which runs, and each label counted once, under one heading.
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { closeBench, lay, openPass, openPassBench, reportsOf, sealRun } from '../../tests/fixtures/passes.ts'
import { type Bench, code, event, pitchMm } from '../../tests/fixtures/runs.ts'
import { acrossPasses, type RollAcrossPasses } from './across-passes.ts'
import { type InOnePass, labelStates, openTally } from './across-passes-tally.ts'
import { rollsOf } from './pass-runs.ts'

let bench: Bench
beforeEach(async () => {
  bench = await openPassBench()
})
afterEach(() => closeBench(bench))

async function report(roll: string): Promise<RollAcrossPasses> {
  const { runs, unreadable } = await bench.runs.passRuns()
  expect(unreadable).toEqual([])
  return acrossPasses(roll, { runs, catalogue: bench.catalogue.current() })
}
const labels = (design: string, from: number, count: number) =>
  Array.from({ length: count }, (_, i) => code(design, from + i))

/** Roll R1: A 1–8 in pass 1 with reports, of which 1–6 and a stranger come again in pass 2, under another name. */
async function twoPasses(): Promise<void> {
  const first = await openPass(bench, 1)
  await lay(first, [...labels('A', 1, 8), null, code('D', 50)])
  await first.laid(reportsOf(['full', 'none', 'part']))
  await sealRun(first)
  const second = await openPass(bench, 2, { roll: 'R1-a' })
  await lay(second, [...labels('A', 1, 4), code('A', 5), null, code('A', 6), code('B', 70), code('D', 50), null])
  await second.laid(reportsOf([...Array(6).fill(undefined), 'none']))
}

const numbers = ({ versions }: RollAcrossPasses) =>
  versions.map(({ design, version, labels: sum, complete, partly, toCome, never, setUp, unclear }) =>
    [`${design}${version ?? ''}`, sum, complete, partly, toCome, never, setUp, unclear].join(' '),
  )

describe('a roll across its passes', () => {
  it('counts each label once', async () => {
    await twoPasses()
    const found = await report('R1')
    expect(numbers(found)).toEqual([
      // 1, 4, 5 complete; 6 left off in pass 2; 7, 8 to come; 2 in no pass; 3 half laid.
      'A1 8 3 1 2 1 0 1',
      // The set-up of pass 1, whose design has no other layers.
      'C1 2 0 0 0 0 2 0',
      'D1 1 1 0 0 0 0 0',
    ])
    expect(found.total).toEqual({
      labels: 11,
      complete: 4,
      partly: 1,
      toCome: 2,
      never: 1,
      setUp: 2,
      cutOut: 0,
      unclear: 1,
    })
    expect(found.versions[0]).toMatchObject({
      layerPasses: [1, 2],
      byPass: [
        { pass: 1, laid: 6, skipped: 1, setUp: 0, unclear: 1, notSeen: 0 },
        { pass: 2, laid: 3, skipped: 3, setUp: 0, unclear: 0, notSeen: 2 },
      ],
      examples: {
        partly: [{ serial: '000006' }],
        toCome: [{ serial: '000007' }, { serial: '000008' }],
        never: [{ serial: '000002' }],
        unclear: [{ serial: '000003' }],
      },
    })
  })

  it('counts what was cut out after laying as such: it is not to come', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [...labels('A', 1, 6), null, null])
    // Frame 2, and less of frame 3 than would take it out.
    const cut = {
      event: 'cut-out',
      positionUm: 2 * pitchMm * 1000,
      toPositionUm: 3.2 * pitchMm * 1000,
      by: 'lead',
    } as const
    await first.material(cut)
    await first.material({
      event: 'cut-out',
      positionUm: pitchMm * 1000,
      toPositionUm: 1.5 * pitchMm * 1000,
      by: 'lead',
    })
    const { index = 0 } = first.state.material.at(-1) ?? {}
    await first.material({ event: 'void', voids: index, by: 'lead' })
    await first.material({ event: 're-thread', by: 'lead' })
    // Positions come again on other web.
    await first.frames([event(5, [code('A', 7), code('A', 8)], 2 * pitchMm)])
    const counts = { labels: 10, toCome: 4, setUp: 4, cutOut: 2 }
    const examples = { cutOut: [{ serial: '000003' }, { serial: '000004' }] }
    expect(await report('R1')).toMatchObject({ total: counts, versions: [{ design: 'A', examples }, { design: 'C' }] })
    await sealRun(first)
    // The same from what is kept of a run that ended.
    await bench.restart()
    expect((await report('R1')).total).toMatchObject(counts)
    const second = await openPass(bench, 2)
    await lay(second, labels('A', 1, 2))
    expect((await report('R1')).total).toMatchObject({ complete: 2, toCome: 2, cutOut: 2 })
  })

  it('names the runs over it and over what it was split into or joined with', async () => {
    await twoPasses()
    const found = await report('R1')
    expect(found.passes).toEqual([1, 2])
    expect(
      found.runs.map(({ pass, rolls, state, labels: seen, untied, ofRoll }) => [
        pass,
        ...rolls,
        state,
        seen,
        untied,
        ofRoll,
      ]),
    ).toEqual([
      [1, 'R1', 'sealed', 12, 1, 11],
      [2, 'R1-a', 'open', 12, 2, 7],
    ])
    const part = await report('R1-a')
    expect(part.runs.map(({ rolls, ofRoll }) => [...rolls, ofRoll])).toEqual([
      ['R1', 7],
      ['R1-a', 10],
    ])
    // The stranger, never seen in pass 1.
    expect(numbers(part)).toContain('B1 1 0 0 0 1 0 0')
    expect(rollsOf((await bench.runs.passRuns()).runs).map(({ roll, passes }) => [roll, ...passes])).toEqual([
      ['R1-a', 2],
      ['R1', 1],
    ])
  })

  it('is the same from snapshots, from the ledger and after a crash', async () => {
    await twoPasses()
    const found = await report('R1')
    await bench.database.catalogue.deleteFrom('meta').where('key', 'like', 'serials/%').execute()
    expect(await report('R1')).toEqual(found)
    await bench.restart()
    expect(await report('R1')).toEqual(found)
    const open = await bench.runs.get(found.runs[1]?.runId ?? '')
    await sealRun(open)
    await expect.poll(async () => (await bench.runs.list())[0]?.state).toBe('sealed')
    expect({ ...(await report('R1')), runs: [] }).toEqual({ ...found, runs: [] })
  })

  it('tells of a run whose ledger is damaged, and counts without it', async () => {
    await twoPasses()
    const { runs } = await bench.runs.passRuns()
    await bench.database.catalogue
      .insertInto('runs')
      .values({
        ...{ runId: 'T9.1', ticket: 'T9', line: 'L1', state: 'sealed', epoch: 1, createdAtMs: 1 },
        ...{ roll: 'R1', pass: 1, jobs: '["J"]' },
      })
      .execute()
    const now = await bench.runs.passRuns()
    expect([now.runs.length, now.unreadable.map(({ runId }) => runId)]).toEqual([runs.length, ['T9.1']])
  })
})

describe('the tally', () => {
  it('sums to the labels, over all headings and in every pass', () => {
    const outcome = fc.record({
      did: fc.constantFrom('skipped' as const, 'laid' as const, 'set-up' as const, 'unclear' as const),
      version: fc.constantFrom(1, 2),
    })
    const found = fc
      .uniqueArray(fc.record({ pass: fc.integer({ min: 1, max: 4 }), outcome }), {
        selector: ({ pass }) => pass,
        minLength: 1,
      })
      .map((rows) => rows.toSorted((a, b) => a.pass - b.pass))
    fc.assert(
      fc.property(fc.array(found, { maxLength: 30 }), (all) => {
        const tally = openTally()
        for (const [i, rows] of all.entries()) {
          const seen = rows.map(
            ({ pass, outcome: of }): InOnePass => ({ pass, outcome: { ...of, roll: 'R', design: 'A' } }),
          )
          tally.add({ job: 'J', serial: `${i}` }, seen, () => [1, 3])
        }
        const { versions, total } = tally.result()
        expect(total.labels).toBe(all.length)
        for (const row of [...versions, total])
          expect(labelStates.reduce((sum, state) => sum + row[state], 0)).toBe(row.labels)
        for (const { labels: sum, byPass } of versions)
          for (const { laid, skipped, setUp, unclear, notSeen } of byPass) {
            expect(laid + skipped + setUp + unclear + notSeen).toBe(sum)
            expect(notSeen).toBeGreaterThanOrEqual(0)
          }
      }),
    )
  })
})
