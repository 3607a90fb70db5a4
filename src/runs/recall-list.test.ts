// What a recall lists: what was revoked in time, what had passed, and what was reported of it.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, pitchMm, publishedJobs } from '../../tests/fixtures/runs.ts'
import { recallListOf, recallLists } from './recall-list.ts'

let bench: Bench
afterEach(() => bench.close())

const version = { job: 'J', design: 'A', version: 2 }
const recall = [{ ...version, by: 'qa', why: 'wrong text' }]
const both = (i: number) => event(i, [code('A', i), code('B', 100_000 + i)])

async function recalled(frames: number, before: (run: Awaited<ReturnType<Bench['openProved']>>) => unknown = () => 0) {
  bench = await openBench()
  const run = await bench.openProved()
  for (let i = 1; i <= frames; i++) await run.frames([both(i)])
  await before(run)
  bench.catalogue.change(publishedJobs(), recall)
  await bench.runs.recalled(version)
  return run
}

describe('the list of a recall', () => {
  it('parts what was revoked from what had passed its point of no return, newest first', async () => {
    // Points of no return lie 383 mm behind the frame: at 480 mm those of frames 0 and 1 have passed.
    const run = await recalled(8)
    const list = recallListOf(run.state, version)
    expect(list?.revoked.listed.map(({ frame }) => frame)).toEqual([8, 7, 6, 5, 4, 3, 2])
    expect(list?.revoked.labels).toBe(7)
    expect(list?.passed).toMatchObject({ labels: 2, reported: { unreported: 2 } })
    expect(list?.passed.listed).toEqual([
      { frame: 1, cell: 1, place: 1, positionMm: pitchMm, roll: 'R1' },
      { frame: 0, cell: 1, place: 0, positionMm: 0, roll: 'R1' },
    ])
    expect(list).toMatchObject({ by: 'qa', why: 'wrong text' })
  })

  it('says what was reported laid, and counts by it', async () => {
    const run = await recalled(10, (live) =>
      live.laid([
        { frame: 0, cell: 1, laid: 'full' },
        { frame: 1, cell: 1, laid: 'part' },
        { frame: 2, cell: 1, laid: 'none' },
        { frame: 2, cell: 2, laid: 'full' },
        // Laid earlier than it would have had to be: it can't be revoked any more.
        { frame: 9, cell: 1, laid: 'full' },
      ]),
    )
    const { passed, revoked } = recallListOf(run.state, version)!
    expect(passed.reported).toEqual({ full: 2, part: 1, none: 1, unknown: 0, unreported: 1 })
    expect(passed.listed.map(({ frame, laid }) => `${frame} ${laid}`)).toEqual([
      '9 full',
      '3 undefined',
      '2 none',
      '1 part',
      '0 full',
    ])
    expect(revoked.labels + passed.labels).toBe(11)
  })

  it('counts what it does not list, and leaves other versions out', async () => {
    const run = await recalled(0, async (live) => {
      for (let from = 1; from <= 1_100; from += 100)
        await live.frames(Array.from({ length: 100 }, (_, i) => both(from + i)))
    })
    const { passed, revoked } = recallListOf(run.state, version)!
    expect(passed.listed).toHaveLength(1_000)
    expect(passed.labels + revoked.labels).toBe(1_101)
    expect(passed.listed.every(({ cell }) => cell === 1)).toBe(true)
    expect(recallListOf(run.state, { ...version, design: 'B' })).toBeUndefined()
  })

  it('is the same after a restart, and knows nothing of what was laid after it', async () => {
    const run = await recalled(8)
    const before = recallLists(run.state)
    await bench.restart()
    const again = await bench.runs.get(run.runId)
    expect(recallLists(again.state)).toEqual(before)
    await again.frames([event(9, [code('B', 1), code('B', 2)])])
    expect(recallLists(again.state)).toEqual(before)
  })

  it('speaks of a label on a backed-up web once, by the sighting on which it was laid', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([both(1)])
    await run.laid([{ frame: 1, cell: 1, laid: 'none' }])
    await run.frames([event(2, [code('A', 1), code('B', 100_001)], pitchMm)])
    for (let i = 3; i <= 12; i++) await run.frames([event(i, [null, null], (i - 1) * pitchMm)])
    bench.catalogue.change(publishedJobs(), recall)
    await bench.runs.recalled(version)
    expect(recallListOf(run.state, version)?.passed.listed).toMatchObject([
      { frame: 2, place: 1 },
      { frame: 0, place: 0 },
    ])
  })
})

describe('a recall', () => {
  it('reaches a running run, revocations and stop durable, well within a second', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    for (let i = 1; i <= 6; i++) await run.frames([both(i)])
    const reached = new Promise<number>((resolve) => {
      const began = performance.now()
      run.follow({
        written: (entries) => {
          if (entries.some(({ type }) => type === 'revocation')) resolve(performance.now() - began)
        },
        failed: () => undefined,
      })
      bench.catalogue.change(publishedJobs(), recall)
    })
    expect(await reached).toBeLessThan(1_000)
    expect(run.state.name).toBe('stopped')
  })
})
