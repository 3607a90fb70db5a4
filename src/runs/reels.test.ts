// Reels side by side: which layers they reach, and what an event does to them.
import { describe, expect, it } from 'vitest'
import { line, publishedJobs, ticket } from '../../tests/fixtures/runs.ts'
import type { EntryBodies } from '../ledger/index.ts'
import { type FrozenVersion, freeze, type Orientation } from '../lines/index.ts'
import { demandOrientation } from './geometry.ts'
import { checkFoil, isThreaded, layerAcross, type Reel, reelsOf, withFoil } from './reels.ts'

const frozen = freeze({ revision: 1, jobs: new Map(publishedJobs().map((job) => [job.job, job])) }, ticket())
const frame = frozen.jobs[0]!.frame
type Layer = FrozenVersion['layers'][number]
const mask = frozen.jobs[0]!.versions.find(({ design }) => design === 'F')!.layers.find(({ foil }) => foil)!

/** The web is 110 mm wide; cells of 50 mm at 2 and 56 mm. `cellsTurned`: each label's own turn in the frame as printed. */
function orientationFor(change: object = {}, cellsTurned = 0): Orientation {
  const cells = frame.cells.map((cell) => ({ ...cell, rotateDeg: cellsTurned as 0 }))
  return demandOrientation({ ...frame, cells }, ticket(change), line)
}
const acrossMm = (orientation: Orientation, cell: number, layer: Layer) => {
  const across = layerAcross(orientation, cell, layer)!
  return [across.leftUm / 1000, (across.leftUm + across.widthUm) / 1000]
}
const at = (leftMm: number, topMm: number, widthMm: number, heightMm: number): Layer => ({
  ...mask,
  placement: { leftMm, topMm, widthMm, heightMm },
})

describe('the place of a layer across the web', () => {
  // By hand: a mark of 10 × 4 mm, 5 mm from the label's left edge and 8 mm from its top, in cell 2 (56 to 106 mm).
  const layer = at(5, 8, 10, 4)
  it.each([
    ['upright', 0, [61, 71]],
    ['turned 90° clockwise: its top is at the right', 90, [94, 98]],
    ['upside down', 180, [91, 101]],
    ['turned 270° clockwise: its top is at the left', 270, [64, 68]],
  ])('on a label that stands %s', (_, turned, expected) => {
    expect(acrossMm(orientationFor({}, turned), 2, layer)).toEqual(expected)
  })

  it('is mirrored by half a turn of the frame, which brings the last lane to the left', () => {
    // Cell 2 then lies at 110 − 106 = 4 mm, and the label stands upside down in it: 4 + 50 − 15 = 39 mm.
    expect(acrossMm(orientationFor({ leadEdge: 'bottom' }), 2, layer)).toEqual([39, 49])
    const whole = { ...at(10, 0, 30, 5), scope: 'frame' as const }
    expect(acrossMm(orientationFor(), 1, whole)).toEqual([10, 40])
    expect(acrossMm(orientationFor({ leadEdge: 'bottom' }), 1, whole)).toEqual([70, 100])
  })
})

describe('a foil layer', () => {
  const threaded = (reels: readonly Reel[], cell: number, change: object = {}): boolean =>
    isThreaded(reels, mask, () => layerAcross(orientationFor(change), cell, mask))
  const reel = (foil: string, leftMm: number, widthMm: number) => ({ station: 'foil', foil, leftMm, widthMm })
  const reels = (...foils: object[]) => reelsOf(ticket({ foils }))

  it('is reached by a reel of its foil that spans it, and by none beside it, of another foil or too narrow', () => {
    const two = reels(reel('gold', 0, 54), reel('silver', 54, 54))
    expect([threaded(two, 1), threaded(two, 2)]).toEqual([true, false])
    expect(threaded(reels(reel('gold', 2, 50)), 1)).toBe(true)
    expect(threaded(reels(reel('gold', 2.1, 60)), 1)).toBe(false)
    expect(threaded(reels(reel('gold', 0, 51.9)), 1)).toBe(false)
  })

  it('is reached by a reel without a place wherever it is, and never over the seam of two reels', () => {
    const whole = reels({ station: 'foil', foil: 'gold' })
    expect([threaded(whole, 1), threaded(whole, 2)]).toEqual([true, true])
    expect(threaded(reels(reel('gold', 0, 30), reel('gold', 30, 80)), 1)).toBe(false)
  })

  it('follows the web as it travels: turned, the other lane is under the reel at the left', () => {
    const left = reels(reel('gold', 0, 54))
    expect([threaded(left, 1), threaded(left, 2)]).toEqual([true, false])
    const turned = { leadEdge: 'bottom' }
    expect([threaded(left, 1, turned), threaded(left, 2, turned)]).toEqual([false, true])
  })
})

describe('an event of foil', () => {
  type Body = EntryBodies['material']
  const event = (foil: string | undefined, span?: [number, number]): Body => ({
    event: 'foil',
    station: 'foil',
    ...(foil === undefined ? {} : { foil }),
    ...(span ? { leftUm: span[0] * 1000, widthUm: span[1] * 1000 } : {}),
  })
  const gold: Reel = { station: 'foil', foil: 'gold', across: { leftUm: 0, widthUm: 54_000 } }
  const silver: Reel = { station: 'foil', foil: 'silver', across: { leftUm: 54_000, widthUm: 54_000 } }
  const reelsAfter = (reels: readonly Reel[], body: Body): string[] => {
    checkFoil(reels, body)
    return withFoil(reels, body).map((row) => `${row.foil}${row.across ? ` at ${row.across.leftUm / 1000}` : ''}`)
  }

  it('replaces the reel at its place, takes it off, or puts one beside it', () => {
    expect(reelsAfter([gold, silver], event('red', [0, 54]))).toEqual(['silver at 54', 'red at 0'])
    expect(reelsAfter([gold, silver], event(undefined, [54, 54]))).toEqual(['gold at 0'])
    expect(reelsAfter([gold], event('silver', [60, 40]))).toEqual(['gold at 0', 'silver at 60'])
  })

  it('without a place is about all reels of the station, and of no other', () => {
    const other: Reel = { station: 'flexo', foil: 'gold' }
    expect(reelsAfter([gold, other, silver], event('red'))).toEqual(['gold', 'red'])
    expect(reelsAfter([gold, other, silver], event(undefined))).toEqual(['gold'])
  })

  it('is refused on part of the place of another reel, and where nothing is to be taken off', () => {
    const whole: Reel = { station: 'foil', foil: 'gold' }
    for (const [reels, body] of [
      [[gold], event('red', [50, 20])],
      [[gold], event('red', [0, 50])],
      [[whole], event('red', [0, 54])],
      [[gold], event(undefined, [0, 50])],
    ] as const) {
      expect(() => reelsAfter(reels, body)).toThrow(expect.objectContaining({ code: 'reel-place' }))
    }
  })
})
