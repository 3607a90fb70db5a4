// Positions of a run: slipped and false marks, a web that is backed up and started again, a stop with labels under the head.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, pitchMm, short } from '../../tests/fixtures/runs.ts'
import { runView } from '../api/run-view.ts'

let bench: Bench
afterEach(() => bench.close())

const texts = (i: number) => [code('A', i), code('B', 100 + i)]

describe('the spacing of marks', () => {
  const spaced = (i: number, markSpacingMm: number, positionMm = i * pitchMm) => ({
    ...event(i, texts(i), positionMm),
    markSpacingMm,
  })

  it('raises nothing while it is one pitch, within a quarter of one', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const { answers } = await run.frames([spaced(1, 60), spaced(2, 73, 122), spaced(3, 47, 181)])
    expect(new Set(short(answers))).toEqual(new Set(['lay']))
  })

  it('raises a speck that was taken for a mark: its labels are skipped and proving is asked for again', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([spaced(1, 60)])
    const { answers } = await run.frames([spaced(2, 31, 91)])
    expect(short(answers)).toEqual(['skip out-of-sequence', 'stop out-of-sequence'])
    expect(run.state.name).toBe('proving')
    expect(run.state.setUps.at(-1)?.began.body).toMatchObject({ again: 'slipped-count', frame: 2 })
  })

  it('raises a count that slipped although the position looks right', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([spaced(1, 60)])
    // The encoder says one pitch, the marks lie two apart.
    await run.frames([spaced(2, 120)])
    expect(run.state.frames.get(2)).toMatchObject({ offPhase: true, slips: true })
    expect(run.state.name).toBe('proving')
  })

  it('raises nothing where a mark was missed and the web travelled as far, nor at a splice that was reported', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([spaced(1, 60), spaced(2, 121, 180)])
    expect(run.state.frames.get(2)).toMatchObject({ offPhase: false, place: 3 })
    await run.material({ event: 'splice', positionUm: 200_000 })
    await run.frames([spaced(3, 88, 268)])
    expect(run.state.frames.get(3)?.offPhase).toBe(false)
    expect(run.state.name).toBe('open')
  })

  it('says nothing while the web is backed up, and nothing at the first frame of a threading', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([spaced(1, 60), spaced(2, 60), spaced(3, 60)])
    await run.frames([spaced(4, 5, 2 * pitchMm), spaced(5, 60, pitchMm)])
    expect([4, 5].map((frame) => run.state.frames.get(frame)?.offPhase)).toEqual([false, false])
    await run.material({ event: 're-thread' })
    await run.frames([spaced(6, 17, 9_000)])
    expect(run.state.frames.get(6)?.offPhase).toBe(false)
  })

  it('is judged the same when the run is opened again', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([spaced(1, 60), spaced(2, 120), spaced(3, 60)])
    const before = [...run.state.frames.values()]
    await bench.restart()
    expect([...(await bench.runs.get(run.runId)).state.frames.values()]).toEqual(before)
  })
})

describe('a stop with labels under the head', () => {
  // The station lies 383 mm behind a frame's position: six frames are between sensor and head.
  const stopped = async () => {
    bench = await openBench()
    const run = await bench.openProved()
    for (let i = 1; i <= 9; i++) await run.frames([event(i, texts(i))])
    await run.frames([event(10, [code('A', 10, '99'), code('B', 110)])])
    expect(run.state.name).toBe('stopped')
    return run
  }

  it('keeps the answers of those between sensor and head, and answers those that pass while it comes to rest', async () => {
    const run = await stopped()
    const { answers } = await run.frames([event(11, texts(11))])
    expect(short(answers)).toEqual(['lay', 'lay'])
    expect(run.state.revoked.size).toBe(0)
  })

  it('lays again only where nothing was laid, when the web is backed up and started again', async () => {
    const run = await stopped()
    // Frame 4 lay under the head as the web stood: half of it was laid. Frames 5 and 6 had not reached it.
    await run.laid([
      ...[1, 2, 3].flatMap((frame) => [1, 2].map((cell) => ({ frame, cell, laid: 'full' as const }))),
      { frame: 4, cell: 1, laid: 'part' },
      { frame: 4, cell: 2, laid: 'unknown' },
      ...[5, 6].flatMap((frame) => [1, 2].map((cell) => ({ frame, cell, laid: 'none' as const }))),
    ])
    const cause = { flag: 'print-version-mismatch' as const, job: 'J', design: 'A', print: '99' }
    await run.clear({ by: 'lead', why: 'looked', cause, after: 'skip-rest' })
    const { answers } = await run.frames([3, 4, 5, 6, 7].map((i) => event(8 + i, texts(i), i * pitchMm)))
    expect(answers.map(({ place }) => place)).toEqual([3, 3, 4, 4, 5, 5, 6, 6, 7, 7])
    expect(short(answers)).toEqual([
      ...Array(4).fill('skip already-laid'),
      ...Array(4).fill('lay'),
      // Nothing was reported of it: it counts as laid.
      ...Array(2).fill('skip already-laid'),
    ])
    const next = await run.frames([event(20, texts(50), 11 * pitchMm)])
    expect(next.answers.map(({ place }) => place)).toEqual([11, 11])
    expect(short(next.answers)).toEqual(['lay', 'lay'])
  })
})

describe('points of no return', () => {
  it('are shown by station, and for the run that of the first station that skips', async () => {
    bench = await openBench()
    const view = runView(await bench.openProved())
    expect(view.noReturnAfterMm).toBe(383)
    expect(view.stations).toEqual([
      { station: 'inkjet', skips: true, noReturnAfterMm: 383, fetchAfterMm: 303 },
      { station: 'foil', skips: true, noReturnAfterMm: 883, fetchAfterMm: 803 },
    ])
  })
})
