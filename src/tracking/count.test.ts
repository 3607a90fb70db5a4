// The counting tracker on clean webs, backed-up webs, splices and slipped counts.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { frameIndex, placeIndex } from '../kernel/terms.ts'
import { openCountingTracker } from './count.ts'

const pitchUm = 60_000
const track = (positionsUm: readonly number[]) => {
  const tracker = openCountingTracker(pitchUm)
  return positionsUm.map((positionUm, i) => tracker.advance({ frame: frameIndex(i), positionUm }))
}
const places = (positionsUm: readonly number[]) => track(positionsUm).map((t) => Number(t.place))

describe('the counting tracker', () => {
  it('counts one place per frame on a clean web, whatever the origin of the encoder', () => {
    expect(places([5_000_000, 5_060_000, 5_120_100, 5_179_900])).toEqual([0, 1, 2, 3])
  })

  it('shows the same places again when the web is backed up, and goes on after them', () => {
    const seen = track([0, 60_000, 120_000, 180_000, 60_500, 120_400, 180_300, 240_300])
    expect(seen.map((t) => Number(t.place))).toEqual([0, 1, 2, 3, 1, 2, 3, 4])
    expect(seen.map((t) => t.seenBefore)).toEqual([false, false, false, false, true, true, true, false])
    expect(seen.every((t) => !t.offPhase)).toBe(true)
  })

  it('keeps counting over marks that were missed', () => {
    expect(places([0, 60_000, 240_000, 300_000])).toEqual([0, 1, 4, 5])
  })

  it('says when a mark lies off its phase, and takes up the new phase behind it', () => {
    const seen = track([0, 60_000, 142_000, 202_000])
    expect(seen.map((t) => t.offPhase)).toEqual([false, false, true, false])
  })

  it('lets the phase change at a splice that was reported', () => {
    const tracker = openCountingTracker(pitchUm)
    tracker.advance({ frame: frameIndex(0), positionUm: 0 })
    tracker.breakPhase(70_000)
    expect(tracker.advance({ frame: frameIndex(1), positionUm: 82_000 }).offPhase).toBe(false)
    expect(tracker.advance({ frame: frameIndex(2), positionUm: 164_000 }).offPhase).toBe(true)
  })

  it('says off phase before the first place that it knows', () => {
    expect(track([0, -60_000])[1]).toEqual({ place: 0, seenBefore: true, offPhase: true })
  })

  it('follows pitch drift over a long roll without a slip (property)', () => {
    fc.assert(
      fc.property(fc.integer({ min: -500, max: 500 }), fc.integer({ min: 1, max: 400 }), (driftUm, backed) => {
        const forward = Array.from({ length: 1000 }, (_, i) => i * (pitchUm + driftUm))
        const again = forward.slice(1000 - backed)
        const seen = track([...forward, ...again])
        expect(seen.every((t) => !t.offPhase)).toBe(true)
        expect(seen.slice(1000).map((t) => Number(t.place))).toEqual(again.map((_, i) => 1000 - backed + i))
      }),
      { verbose: 1 },
    )
  })

  it('counts on after a re-threading, whatever the encoder says, and no longer knows the places before it', () => {
    const tracker = openCountingTracker(pitchUm)
    const at = (frame: number, positionUm: number) => tracker.advance({ frame: frameIndex(frame), positionUm })
    at(0, 9_000_000)
    at(1, 9_060_000)
    tracker.restart()
    expect(at(2, 0)).toEqual({ place: 2, seenBefore: false, offPhase: false })
    expect(at(3, 60_000).place).toBe(3)
    expect(at(4, 100)).toEqual({ place: 2, seenBefore: true, offPhase: false })
  })

  it('locates without taking', () => {
    const tracker = openCountingTracker(pitchUm)
    tracker.advance({ frame: frameIndex(0), positionUm: 0 })
    expect(tracker.locate(60_000)).toEqual(tracker.locate(60_000))
    expect(tracker.advance({ frame: frameIndex(1), positionUm: 60_000 }).place).toBe(1)
  })

  it('tells the measured position of a place', () => {
    const tracker = openCountingTracker(pitchUm)
    tracker.advance({ frame: frameIndex(0), positionUm: 10 })
    expect(tracker.positionUm(placeIndex(0))).toBe(10)
    expect(tracker.positionUm(placeIndex(1))).toBeUndefined()
  })
})
