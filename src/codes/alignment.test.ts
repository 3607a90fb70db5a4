// Fitting one shift and turn to pairs of points.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { align, fitAlignment, noAlignment, type Pair } from './alignment.ts'

const limits = { shiftMax: 30, turnRadMax: 0.035 }
const lane = (index: number) => ({ x: 300 + 500 * index, y: 300 })
const moved =
  (turnRad: number, shift: { x: number; y: number }) =>
  (index: number): Pair => ({
    expected: lane(index),
    found: align({ pivot: { x: 1100, y: 300 }, shift, turnRad }, lane(index)),
  })

describe('the alignment of a picture', () => {
  it('is none where nothing was found', () => {
    expect(fitAlignment([], limits)).toEqual(noAlignment)
  })

  it('is the shift of a single code', () => {
    const { shift, turnRad } = fitAlignment([{ expected: { x: 10, y: 20 }, found: { x: 15, y: 12 } }], limits)
    expect(shift).toEqual({ x: 5, y: -8 })
    expect(turnRad).toBe(0)
  })

  it('finds shift and turn of any picture within the limits', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -0.034, max: 0.034, noNaN: true }),
        fc.record({
          x: fc.double({ min: -20, max: 20, noNaN: true }),
          y: fc.double({ min: -20, max: 20, noNaN: true }),
        }),
        (turnRad, shift) => {
          const fit = fitAlignment([0, 1, 2, 3].map(moved(turnRad, shift)), limits)
          for (const index of [0, 1, 2, 3]) {
            const { found } = moved(turnRad, shift)(index)
            const at = align(fit, lane(index))
            expect(Math.hypot(at.x - found.x, at.y - found.y)).toBeLessThan(1e-6)
          }
        },
      ),
      { seed: 7 },
    )
  })

  it('is not pulled by one wrong pair among four', () => {
    const pairs = [0, 1, 2].map(moved(0.02, { x: 4, y: -6 }))
    const stray = { expected: lane(3), found: { x: lane(3).x - 120, y: lane(3).y + 90 } }
    const fit = fitAlignment([...pairs, stray], limits)
    for (const { expected, found } of pairs) {
      const at = align(fit, expected)
      expect(Math.hypot(at.x - found.x, at.y - found.y)).toBeLessThan(12)
    }
  })

  it('stays within the limits', () => {
    const far = fitAlignment([0, 1, 2, 3].map(moved(0.08, { x: 200, y: -200 })), limits)
    expect(far.turnRad).toBeLessThanOrEqual(limits.turnRadMax)
    expect(Math.abs(far.shift.x)).toBeLessThanOrEqual(limits.shiftMax)
    expect(Math.abs(far.shift.y)).toBeLessThanOrEqual(limits.shiftMax)
  })
})
