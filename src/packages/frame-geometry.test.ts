// Labels turned in their cells, and rectangles beside one another.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { labelRect, liesWithin, overhangMm, overlaps, toFrame, toLabel } from './frame-geometry.ts'
import type { ManifestCell } from './manifest.ts'

const cell = (rotateDeg: ManifestCell['rotateDeg']): ManifestCell => ({
  cell: 1,
  lane: 1,
  row: 1,
  leftMm: 100,
  topMm: 200,
  widthMm: 30,
  heightMm: 20,
  rotateDeg,
  bleedMm: 0,
})

// A mark of 2 × 1 mm at (3, 4) in the label's axes. The label is 30 × 20 mm upright, 20 × 30 mm in a quarter-turned cell.
const mark = { leftMm: 3, topMm: 4, widthMm: 2, heightMm: 1 }

describe('a label turned clockwise in its cell', () => {
  it.each([
    // Upright: 100 + 3, 200 + 4.
    [0, { leftMm: 103, topMm: 204, widthMm: 2, heightMm: 1 }],
    // The label's top lies at the cell's right: 130 − 4 − 1 = 125 across, 200 + 3 along.
    [90, { leftMm: 125, topMm: 203, widthMm: 1, heightMm: 2 }],
    // 130 − 3 − 2 = 125, 220 − 4 − 1 = 215.
    [180, { leftMm: 125, topMm: 215, widthMm: 2, heightMm: 1 }],
    // The label's top lies at the cell's left: 100 + 4 across, 220 − 3 − 2 = 215 along.
    [270, { leftMm: 104, topMm: 215, widthMm: 1, heightMm: 2 }],
  ] as const)('by %i° has its mark where a sheet of paper would', (rotateDeg, place) => {
    expect(toFrame(cell(rotateDeg), mark)).toEqual(place)
  })

  it('fills the cell, and back again is where it was', () => {
    const rects = fc.record({
      leftMm: fc.integer({ min: -50, max: 50 }),
      topMm: fc.integer({ min: -50, max: 50 }),
      widthMm: fc.integer({ min: 1, max: 50 }),
      heightMm: fc.integer({ min: 1, max: 50 }),
    })
    fc.assert(
      fc.property(fc.constantFrom(0 as const, 90 as const, 180 as const, 270 as const), rects, (deg, rect) => {
        const { leftMm, topMm, widthMm, heightMm } = cell(deg)
        expect(toFrame(cell(deg), labelRect(cell(deg)))).toEqual({ leftMm, topMm, widthMm, heightMm })
        expect(toLabel(cell(deg), toFrame(cell(deg), rect))).toEqual(rect)
      }),
    )
  })
})

describe('rectangles', () => {
  it('that touch do not overlap, and decimals that add up to the edge lie within', () => {
    const one = { leftMm: 0.1, topMm: 0, widthMm: 0.2, heightMm: 1 }
    const next = { leftMm: 0.3, topMm: 0, widthMm: 1, heightMm: 1 }
    expect(overlaps(one, next)).toBe(false)
    expect(overlaps(one, { ...next, leftMm: 0.29 })).toBe(true)
    expect(liesWithin(one, { leftMm: 0, topMm: 0, widthMm: 0.3, heightMm: 1 })).toBe(true)
  })

  it('tell how far they overhang at the worst side', () => {
    const outer = { leftMm: 0, topMm: 0, widthMm: 10, heightMm: 10 }
    expect(overhangMm({ leftMm: -1, topMm: 2, widthMm: 5, heightMm: 11 }, outer)).toBe(3)
  })
})
