// Lines joined to frames on a web that moves as webs do: whatever it does, a line is never joined to another frame than its own.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { AwaitingRun } from '../runs/index.ts'
import { openPlaceTally, openPortTally } from './tallies.ts'
import { type Spot, Track } from './track.ts'

const pitchMm = 60
const offsetMm = 23
const lanes = [1, 2]

interface Web {
  /** Each for so many ms, mm/ms² (a thousandth of it in m/s²); the web stands where it would go backwards. */
  readonly accelerations: readonly { readonly forMs: number; readonly rate: number }[]
  readonly startMmPerMs: number
  readonly heartbeatMs?: number | undefined
  /** Of each line, whether it is lost; taken in turn. */
  readonly lost: readonly boolean[]
}

type Reads = Parameters<AwaitingRun['readsArrived']>[1]

// A run as a track sees it: frames that wait until their reads are given.
function openFakeRun() {
  const given = new Map<number, Reads>()
  const waiting = new Map<number, undefined>()
  const frames = new Map<number, { positionUm: number; awaits: true }>()
  const state = {
    pitchUm: pitchMm * 1000,
    cells: lanes.map((lane) => ({ cell: lane, lane, row: 1 })),
    waiting,
    frames,
  } as unknown as AwaitingRun['state']
  const run: AwaitingRun = {
    runId: 'R',
    state,
    readsArrived(frame, reads) {
      given.set(frame, reads)
      return waiting.delete(frame)
    },
  }
  const record = (frame: number, positionMm: number): void => {
    waiting.set(frame, undefined)
    frames.set(frame, { positionUm: positionMm * 1000, awaits: true })
  }
  return { run, given, record }
}

function openTrack() {
  const fake = openFakeRun()
  const ports = lanes.map(openPortTally)
  const spots = lanes.map(
    (lane, i): Spot => ({ lane, offsetUm: offsetMm * 1000, tally: openPlaceTally(), port: ports[i]! }),
  )
  const track = new Track(fake.run, spots)
  return {
    ...fake,
    track,
    spots,
    ports,
    frame(frame: number, positionMm: number, atMs: number): void {
      track.awaits(frame, positionMm * 1000, [])
      fake.record(frame, positionMm)
      track.moved({ positionUm: positionMm * 1000, atMs, withinMs: 0 })
    },
    line(lane: number, text: string | undefined, atMs: number): void {
      const [port, tally] = [ports[lane - 1]!, ports[lane - 1]!]
      track.line({ port, tally, atMs, withinMs: 0, ...(text === undefined ? {} : { text }) })
    },
  }
}

// Goes through the web's motion ms by ms, and sends what sensors would send.
function runWeb({ accelerations, startMmPerMs, heartbeatMs, lost }: Web) {
  const desk = openTrack()
  let [x, v, ms, nextFrame, nextLine, sent] = [0.5, startMmPerMs, 0, 0, 0, 0]
  for (const { forMs, rate } of accelerations) {
    for (let i = 0; i < forMs; i++) {
      ms++
      v = Math.min(1.7, Math.max(0, v + rate))
      x += v
      for (; x >= nextFrame * pitchMm; nextFrame++) desk.frame(nextFrame, nextFrame * pitchMm, ms)
      if (heartbeatMs !== undefined && ms % heartbeatMs === 0)
        desk.track.moved({ positionUm: Math.round(x * 1000), atMs: ms, withinMs: 0 })
      for (; x >= nextLine * pitchMm + offsetMm; nextLine++) {
        for (const lane of lanes) if (!lost[sent++ % lost.length]) desk.line(lane, `${lane}-${nextLine}`, ms)
      }
    }
  }
  return { ...desk, frames: nextFrame }
}

const wrong = (given: ReadonlyMap<number, Reads>): string[] =>
  [...given].flatMap(([frame, reads]) =>
    reads.flatMap(({ lane, text }) => (text === undefined || text === `${lane}-${frame}` ? [] : [`${frame}: ${text}`])),
  )

const joined = (given: ReadonlyMap<number, Reads>): number =>
  [...given.values()].flat().filter(({ text }) => text !== undefined).length

describe('joining lines to frames', () => {
  it('joins every line at a steady speed, from creeping to fast, but for the first frames', () => {
    for (const startMmPerMs of [0.05, 0.2, 0.8, 1.67]) {
      const forMs = Math.round((20 * pitchMm) / startMmPerMs)
      const web = runWeb({ startMmPerMs, accelerations: [{ forMs, rate: 0 }], lost: [false] })
      expect(wrong(web.given)).toEqual([])
      expect(web.given.size).toBeGreaterThanOrEqual(18)
      expect(joined(web.given)).toBeGreaterThanOrEqual(2 * (web.given.size - 2))
    }
  })

  it('joins every line while the web speeds up and slows down as lines do', () => {
    const accelerations = [
      { forMs: 2_000, rate: 0.0008 },
      { forMs: 1_000, rate: 0 },
      { forMs: 2_000, rate: -0.0008 },
    ]
    const web = runWeb({ startMmPerMs: 0.05, accelerations, lost: [false], heartbeatMs: 100 })
    expect(wrong(web.given)).toEqual([])
    expect(joined(web.given)).toBeGreaterThanOrEqual(2 * (web.given.size - 1))
  })

  it('never joins a line to another frame, however the web starts, stops and creeps, and whatever is lost (property)', () => {
    const acceleration = fc.record({
      forMs: fc.integer({ min: 1, max: 900 }),
      rate: fc.double({ min: -0.005, max: 0.005, noNaN: true }),
    })
    const motion = fc.record({
      accelerations: fc.array(acceleration, { minLength: 1, maxLength: 14 }),
      startMmPerMs: fc.double({ min: 0, max: 1.7, noNaN: true }),
      heartbeatMs: fc.option(fc.constantFrom(20, 100, 250), { nil: undefined }),
      lost: fc.array(fc.boolean(), { minLength: 1, maxLength: 30 }),
    })
    fc.assert(
      fc.property(motion, (web) => {
        expect(wrong(runWeb(web).given)).toEqual([])
      }),
      { verbose: 1, numRuns: 300 },
    )
  })

  it('counts a line that comes again, and keeps both texts where it contradicts the first', () => {
    const desk = openTrack()
    for (let i = 0; i < 4; i++) desk.frame(i, i * pitchMm, i * 40)
    desk.line(1, 'A', 135)
    desk.line(1, 'A', 135.5)
    desk.line(1, 'B', 136)
    desk.line(2, 'C', 136)
    expect(desk.given.get(3)).toEqual([
      { lane: 1, text: 'A' },
      { lane: 1, text: 'B' },
      { lane: 2, text: 'C' },
    ])
    expect(desk.spots[0]!.tally).toMatchObject({ read: 1, doubled: 2, contradicting: 1 })
  })

  it('gives a frame up when its place has passed, and counts the line that comes afterwards as late', () => {
    const desk = openTrack()
    for (let i = 0; i < 4; i++) desk.frame(i, i * pitchMm, i * 40)
    desk.line(2, 'C', 135)
    expect(desk.given.has(3)).toBe(false)
    desk.frame(4, 4 * pitchMm, 160)
    expect(desk.given.get(3)).toEqual([{ lane: 1 }, { lane: 2, text: 'C' }])
    const { missing } = desk.spots[0]!.tally
    desk.line(1, 'A', 135.5)
    expect(desk.spots[0]!.tally).toMatchObject({ missing, late: 1 })
  })

  it('counts a line between two places as stray once the next position is known', () => {
    const desk = openTrack()
    for (let i = 0; i < 4; i++) desk.frame(i, i * pitchMm, i * 40)
    desk.line(1, 'A', 155)
    desk.frame(4, 4 * pitchMm, 160)
    expect(desk.ports[0]!.stray).toBe(1)
    expect(wrong(desk.given)).toEqual([])
  })

  it('holds no more lines than it may, and drops the oldest', () => {
    const desk = openTrack()
    for (let i = 0; i < 300; i++) desk.line(1, `x${i}`, i)
    expect(desk.ports[0]!.stray).toBe(300 - 256)
  })

  it('takes the place of a reader before the trigger: its lines wait for the frame', () => {
    const desk = openTrack()
    const [spot] = desk.spots
    Object.assign(spot!, { offsetUm: -20_000 })
    Object.assign(desk.spots[1]!, { offsetUm: -20_000 })
    for (let i = 0; i < 4; i++) desk.frame(i, i * pitchMm, i * 40)
    // 160 mm along, 20 mm before the mark of frame 3 … which has passed; so the one of frame 4 at 220 mm.
    desk.line(1, 'A', 147)
    desk.line(2, 'B', 147)
    expect(desk.given.has(4)).toBe(false)
    desk.frame(4, 4 * pitchMm, 160)
    expect(desk.given.get(4)).toEqual([
      { lane: 1, text: 'A' },
      { lane: 2, text: 'B' },
    ])
  })

  it('asks no reader for what came with the frame', () => {
    const desk = openTrack()
    expect(desk.track.awaits(0, 0, [{ lane: 1 }])).toBe(true)
    for (const reads of [
      [{ lane: 1 }, { lane: 2 }],
      [{ cell: 1 }, { cell: 2 }],
      [{ lane: 1 }, { cell: 2 }],
    ])
      expect(desk.track.awaits(1, 60_000, reads)).toBe(false)
  })
})
