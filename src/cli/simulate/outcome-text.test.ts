// What is shown: the live view on a screen and in lines, the outcome, and what is otherwise than a scenario says.
import { describe, expect, it } from 'vitest'
import { unmet } from './expectation.ts'
import type { Outcome } from './outcome.ts'
import { outcomeText } from './outcome-text.ts'
import { openStats } from './stats.ts'
import { openView, type ViewParts } from './view.ts'

const outcome: Outcome = {
  runId: 'T-1.1',
  title: 'Codes that arrive late',
  seed: 22,
  ended: 'roll',
  frames: 100,
  places: 100,
  labels: { all: 400, laid: 390, planted: 4, noLayer: 2 },
  decisions: { lay: 394, skip: 5, stop: 1 },
  flags: { duplicate: 4 },
  revocations: 0,
  refusals: { 'frame-order': 1 },
  laid: { full: 390, part: 0, none: 0, unknown: 0 },
  stops: ['other-job'],
  connections: 2,
  wrongLays: 1,
  doubleLays: 0,
  wrongCodes: 240,
  missedLays: 4,
  missedBecause: { late: 4 },
  lostAnswers: 0,
  doubledAnswers: 0,
  lateAnswers: 4,
  laidThoughRevoked: 0,
  shift: { frames: 1, firstFrame: 40, lastFrame: 99, labels: 240 },
  latencyMs: { p50: 3, p99: 9, max: 20 },
  marginMm: { least: -12, p01: 10, p50: 300 },
  seconds: 4.25,
  differences: [
    { kind: 'wrong-code', frame: 41, cell: 2, place: 41, positionMm: 3_460, detail: 'A where B stands' },
    { kind: 'wrong-lay', frame: 41, cell: 2, place: 41, positionMm: 3_460, detail: 'J A v1, where J B v1 belongs' },
    { kind: 'missed-lay', cell: 1, place: 50, positionMm: 4_000, detail: 'late' },
  ],
  exitCode: 1,
}

describe('an outcome in words', () => {
  it('names counts, the shift, and the gravest differences with their places', () => {
    const text = outcomeText(outcome, [])
    expect(text).toContain('Lays: 1 wrong, 0 twice, 4 missed (4 late). Answers: 0 lost, 0 doubled, 4 late.')
    expect(text).toContain(
      'Constant shift by 1 frame: from frame 40 to 99, 240 labels carry the code of the frame before.',
    )
    expect(text).toContain('  wrong-lay at frame 41, cell 2, 3460.0 mm: J A v1, where J B v1 belongs')
    expect(text).not.toContain('wrong-code at')
    expect(text).toContain('refused: 1 frame-order')
    expect(text).toContain('margin to the point of no return at least -12 mm')
    expect(text).toMatch(/It ended as the scenario says\.$/)
  })

  it('lists what was missed where nothing worse is', () => {
    const { shift: _, ...rest } = outcome
    const text = outcomeText({ ...rest, differences: outcome.differences.slice(2) }, undefined)
    expect(text).toContain('  missed-lay at place 50, cell 1, 4000.0 mm: late')
    expect(text).not.toContain('scenario says')
  })
})

describe('what is otherwise than expected', () => {
  it('is nothing where every tally fits, within its bounds where it has such', () => {
    expect(
      unmet({ exitCode: 1, wrongLays: 1, missedLays: { min: 1, max: 9 }, flags: { duplicate: { min: 2 } } }, outcome),
    ).toEqual([])
  })

  it('is said with what was found and what was wanted', () => {
    expect(
      unmet({ exitCode: 0, shiftFrames: 0, stops: [], flags: { late: 3 }, missedLays: { max: 2 } }, outcome),
    ).toEqual([
      'missedLays: 4, not 0 to 2',
      'flags late: 0, not 3',
      'shiftFrames: 1, not 0',
      'exitCode: 1, not 0',
      'stops: other-job, not none',
    ])
  })
})

describe('the live view', () => {
  const now = { lineMs: 12_345, positionMm: 4_567.8, mPerMin: 31.26, place: 50, frame: 52 }

  function viewOf(parts: Partial<ViewParts>) {
    const clock = { ms: 0 }
    const written: string[] = []
    const stats = openStats()
    Object.assign(stats.decisions, { lay: 200, skip: 7, stop: 1 })
    Object.assign(stats.flags, { 'no-read': 7, 'other-job': 1 })
    stats.connection = 'open'
    for (const ms of [2, 3, 4]) stats.latencyMs.add(ms)
    stats.marginMm.add(3_300)
    const named = { title: 'A roll', runId: 'T-1.1', seed: 5, places: 100, isTimed: true, stats, state: () => 'open' }
    const view = openView({
      ...named,
      screen: undefined,
      line: (text) => written.push(text),
      nowMs: () => clock.ms,
      ...parts,
    })
    return { view, clock, written }
  }

  it('draws one screen over the last, five times a second at most', () => {
    const screen: string[] = []
    const { view, clock } = viewOf({ screen: { columns: 100, write: (text) => screen.push(text) } })
    for (clock.ms = 0; clock.ms <= 1_000; clock.ms += 50) view.show(now)
    expect(screen).toHaveLength(5)
    expect(screen[0]).toContain('frame 52, place 50 of 100')
    expect(screen[0]).toContain('31.3 m/min at 4568 mm, 12.3 s of line time')
    expect(screen[0]).toContain('200 lay, 7 skip, 1 stop')
    expect(screen[0]).toContain('7 no-read, 1 other-job')
    expect(screen[0]).toMatch(/latency {5}p50 3\.\d, p99 4\.\d ms/)
    expect(screen[0]).toContain('least 3300')
    expect(screen[0]).toContain('connection open')
    expect(screen[1]?.startsWith('\u001b[9A\u001b[J')).toBe(true)
    view.done()
    expect(screen.at(-1)).toBe('\u001b[9A\u001b[J')
  })

  it('writes plain lines every two seconds where there is no screen, and none where nobody reads', () => {
    const { view, clock, written } = viewOf({})
    for (clock.ms = 0; clock.ms <= 6_000; clock.ms += 100) view.show(now)
    expect(written).toHaveLength(3)
    expect(written[0]).toMatch(
      /^frame 52 at 4568 mm, 31\.3 m\/min: 200 lay, 7 skip, 1 stop; p50 3\.\d, p99 4\.\d ms, margin ≥ 3300 mm; open$/,
    )
    const { view: silent, clock: later } = viewOf({ line: undefined })
    later.ms = 9_000
    expect(() => silent.show(now)).not.toThrow()
  })
})
