import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type Bitmap, distanceMax, distanceSteps, distancesOf, type PixelShape } from './distance.ts'

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

const bitmaps = fc
  .record({ widthPx: fc.integer({ min: 1, max: 14 }), heightPx: fc.integer({ min: 1, max: 14 }) })
  .chain(({ widthPx, heightPx }) =>
    fc
      .array(fc.integer({ min: 0, max: 5 }), { minLength: widthPx * heightPx, maxLength: widthPx * heightPx })
      .map((values) => ({ widthPx, heightPx, ink: Uint8Array.from(values, (value) => (value === 0 ? 0 : 1)) })),
  )
const shapes = fc.constantFrom({ across: 1, along: 1 }, { across: 1, along: 2 }, { across: 1.5, along: 1 })

describe('distances', () => {
  it('are those of the definition, for every bitmap and pixel shape', () => {
    fc.assert(
      fc.property(bitmaps, shapes, fc.boolean(), (bitmap, shape, turn) => {
        const own = turn ? { ...bitmap, ink: bitmap.ink.map((ink) => 1 - ink) } : bitmap
        const distances = distancesOf(own, shape)
        for (let at = 0; at < own.ink.length; at += 1) {
          const hand = distanceByHand(own, shape, at % own.widthPx, Math.floor(at / own.widthPx))
          const sign = own.ink[at] === 1 ? 1 : -1
          const expected = Math.min(hand * distanceSteps, distanceMax) * sign
          expect(Math.abs(distances[at]! - expected)).toBeLessThanOrEqual(1)
        }
      }),
      { numRuns: 300 },
    )
  })

  it('end at just under 256 pixels', () => {
    const bitmap = { widthPx: 601, heightPx: 601, ink: new Uint8Array(601 * 601).fill(1) }
    const distances = distancesOf(bitmap, { across: 1, along: 1 })
    expect(distances[300 * 601 + 300]).toBe(distanceMax)
    expect(distances[300 * 601 + 200]).toBe(201 * distanceSteps)
  })
})
