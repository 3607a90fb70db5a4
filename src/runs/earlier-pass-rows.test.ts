// What readiness says of earlier passes, over the real registry.
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { closeBench, inPasses, lay, openPass, openPassBench, passJob, sealRun } from '../../tests/fixtures/passes.ts'
import { type Bench, code, job, line, openBench, ticket } from '../../tests/fixtures/runs.ts'
import { systemClock } from '../kernel/clock.ts'
import { putLine, putTicket } from '../lines/index.ts'

let bench: Bench
beforeEach(async () => {
  bench = await openPassBench()
})
afterEach(() => closeBench(bench))

async function weighed(change: object, ofLine: object = {}) {
  const store = { database: bench.database, clock: systemClock }
  await putLine(store, { ...line, ...ofLine })
  await putTicket(store, ticket(change))
  const { blockers, warnings } = await bench.runs.readiness({ ticket: 'T1', line: 'L1' })
  const codes = (rows: typeof blockers) =>
    rows.map((row) => [row.code, row.measured].join(' ')).filter((row) => !row.startsWith('nothing'))
  return { blockers: codes(blockers), warnings: codes(warnings), rows: [...blockers, ...warnings] }
}

describe('readiness of a second pass', () => {
  it('is denied while no run of the first is known, whatever other jobs and passes ran', async () => {
    expect((await weighed({ pass: 1 })).blockers).toEqual([])
    const { blockers, rows } = await weighed({ pass: 2 })
    expect(blockers).toEqual(['earlier-pass-missing 0'])
    expect(rows[0]).toMatchObject({ job: 'J', mend: expect.stringContaining('run pass 1 first') })
    await openPass(bench, 2)
    expect((await weighed({ pass: 2 })).blockers).toEqual(['earlier-pass-missing 0'])
    // E has layers in passes 1 and 3, D in 2.
    await openPass(bench, 1)
    expect((await weighed({ pass: 3 })).blockers).toEqual([])
  })

  it('warns while the first is not sealed', async () => {
    const first = await openPass(bench, 1)
    expect(await weighed({ pass: 2 })).toMatchObject({ blockers: [], warnings: ['earlier-pass-open 1'] })
    await first.close({ by: 'lead' })
    expect((await weighed({ pass: 2 })).warnings).toEqual(['earlier-pass-open 1'])
    await first.seal({ by: 'lead' })
    await expect.poll(async () => (await weighed({ pass: 2 })).warnings).toEqual([])
    // Another roll of the job is none of this one's business, but a roll of a new name may have been part of either.
    await openPass(bench, 1, { roll: 'R2' })
    expect((await weighed({ pass: 2 })).warnings).toEqual([])
    expect((await weighed({ pass: 2, roll: 'R1-a' })).warnings).toEqual(['earlier-pass-open 1'])
  })

  it('warns where the first was only given up', async () => {
    const first = await openPass(bench, 1)
    await first.abort({ by: 'lead', why: 'torn' })
    await expect.poll(async () => (await bench.runs.list())[0]?.state).toBe('aborted')
    const { rows } = await weighed({ pass: 2 })
    expect(rows.map(({ code: found, message }) => [found, message])).toEqual([
      ['earlier-pass-open', `pass 1 is not sealed: ${first.runId} is aborted`],
    ])
  })

  it('is denied where codes carry no serial', async () => {
    await bench.close()
    bench = await openBench([passJob(false)])
    const { blockers } = await weighed({ pass: 2 })
    expect(blockers).toEqual(['codes-without-serial '])
    expect((await weighed({ pass: 1 })).blockers).toEqual([])
  })

  it('is denied where the two passes of the roll contradict each other', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('A', 1), null])
    await sealRun(first)
    await expect.poll(async () => (await weighed({ pass: 2 })).warnings).toEqual([])
    const contradiction = ['orientation-across-passes passes-contradict']
    expect((await weighed({ pass: 2, direction: 'reversed' })).blockers).toEqual(contradiction)
    expect((await weighed({ pass: 2, leadEdge: 'bottom' })).blockers).toEqual(contradiction)
    expect((await weighed({ pass: 2, direction: 'reversed', leadEdge: 'bottom' })).blockers).toEqual([])
    expect((await weighed({ pass: 2, direction: 'reversed', roll: 'R9' })).blockers).toEqual([])
  })

  it('is denied where a station that cannot skip has other layers in that pass for other labels', async () => {
    const stations = line.stations.map((station) => ({ ...station, skips: station.station !== 'inkjet' }))
    const same = inPasses('A', 1, [1, 2]).layers[1]!
    const first = inPasses('A', 1, [1])
    const flood = (design: string) => ({
      ...inPasses(design, 1, [1]),
      layers: [inPasses(design, 1, [1]).layers[0]!, same],
    })
    await bench.close()
    bench = await openBench([job('J', [flood('A'), flood('B')])])
    expect((await weighed({ pass: 1 }, { stations })).blockers).toEqual(['layers-not-common 2'])
    expect((await weighed({ pass: 2 }, { stations })).blockers).toEqual(['earlier-pass-missing 0'])
    bench.catalogue.change([job('J', [flood('A'), { ...flood('B'), layers: first.layers }])])
    expect((await weighed({ pass: 2 }, { stations })).blockers).toContain('layers-not-common 2')
  })
})
