// The distance map against its definition, written out.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type Bitmap, distanceSteps, distancesOf, type PixelShape } from './distance.ts'

// By the definition: the nearest centre of the other kind, ground outside counting as bare.
function distanceByHand({ widthPx, heightPx, ink }: Bitmap, shape: PixelShape, x: number, y: number): number {
  const kind = ink[y * widthPx + x]
  let least = Number.POSITIVE_INFINITY
  for (let v = -1; v <= heightPx; v += 1) {
    for (let u = -1; u <= widthPx; u += 1) {
      const isOutside = u < 0 || v < 0 || u >= widthPx || v >= heightPx
      const isOther = isOutside ? kind === 1 : ink[v * widthPx + u] !== kind
      if (isOther) least = Math.min(least, Math.hypot((u - x) * shape.across, (v - y) * shape.along))
    }
  }
  return least
}

// Few seeds of change in mostly even ground, so that long ways are met as well as short ones.
const bitmaps = fc
  .record({
    widthPx: fc.integer({ min: 1, max: 20 }),
    heightPx: fc.integer({ min: 1, max: 20 }),
    ground: fc.constantFrom(0, 1),
    rarity: fc.constantFrom(2, 8, 60),
  })
  .chain(({ widthPx, heightPx, ground, rarity }) =>
    fc.array(fc.nat(rarity), { minLength: widthPx * heightPx, maxLength: widthPx * heightPx }).map((values) => ({
      widthPx,
      heightPx,
      ink: Uint8Array.from(values, (value) => (value === 0 ? 1 - ground : ground)),
    })),
  )
const shapes = fc.constantFrom({ across: 1, along: 1 }, { across: 1, along: 2 }, { across: 1.5, along: 1 })

describe('distances', () => {
  it('are those of the definition within reach, for every bitmap, pixel shape and reach', () => {
    fc.assert(
      fc.property(bitmaps, shapes, fc.constantFrom(2, 3, 5, 16, 255), (bitmap, shape, reachPx) => {
        const { distances, beyond, isNear } = distancesOf(bitmap, shape, reachPx)
        for (let at = 0; at < bitmap.ink.length; at += 1) {
          const y = Math.floor(at / bitmap.widthPx)
          const hand = distanceByHand(bitmap, shape, at % bitmap.widthPx, y)
          const sign = bitmap.ink[at] === 1 ? 1 : -1
          const expected = hand < reachPx ? hand * distanceSteps : beyond
          expect(Math.abs(distances[at]! - expected * sign)).toBeLessThanOrEqual(1)
          if (hand < reachPx) expect(isNear[y]).toBe(1)
        }
      }),
      { numRuns: 500 },
    )
  })

  it('end at the reach', () => {
    const bitmap = { widthPx: 601, heightPx: 601, ink: new Uint8Array(601 * 601).fill(1) }
    const { distances, beyond } = distancesOf(bitmap, { across: 1, along: 1 }, 255)
    expect(beyond).toBe(255 * distanceSteps)
    expect(distances[300 * 601 + 300]).toBe(beyond)
    expect(distances[300 * 601 + 200]).toBe(201 * distanceSteps)
  })
})
