// Narrowest lines and gaps of drawn shapes of known width.
import { describe, expect, it } from 'vitest'
import type { Bitmap } from './distance.ts'
import { lineWidthsOf } from './line-width.ts'

// One µm a pixel, so that widths in pixels and µm are the same number.
const fine = { acrossDpi: 25_400, alongDpi: 25_400 }

function drawn(widthPx: number, heightPx: number, isInk: (x: number, y: number) => boolean): Bitmap {
  const ink = new Uint8Array(widthPx * heightPx)
  for (let y = 0; y < heightPx; y += 1) {
    for (let x = 0; x < widthPx; x += 1) ink[y * widthPx + x] = isInk(x + 0.5, y + 0.5) ? 1 : 0
  }
  return { widthPx, heightPx, ink }
}

const inverse = ({ widthPx, heightPx, ink }: Bitmap): Bitmap => ({ widthPx, heightPx, ink: ink.map((one) => 1 - one) })

/** A line through the middle of a 200 × 200 image, with square ends. */
function line(widthPx: number, deg: number): Bitmap {
  const angle = (deg * Math.PI) / 180
  return drawn(200, 200, (x, y) => {
    const along = (x - 100.2) * Math.cos(angle) + (y - 100.3) * Math.sin(angle)
    const across = -(x - 100.2) * Math.sin(angle) + (y - 100.3) * Math.cos(angle)
    return Math.abs(along) < 80 && Math.abs(across) <= widthPx / 2
  })
}

const disc = (radiusPx: number): Bitmap => drawn(240, 240, (x, y) => Math.hypot(x - 120.2, y - 119.7) <= radiusPx)

const square = (sidePx: number, deg: number): Bitmap => {
  const angle = (deg * Math.PI) / 180
  return drawn(240, 240, (x, y) => {
    const u = (x - 120) * Math.cos(angle) + (y - 120) * Math.sin(angle)
    const v = -(x - 120) * Math.sin(angle) + (y - 120) * Math.cos(angle)
    return Math.abs(u) < sidePx / 2 && Math.abs(v) < sidePx / 2
  })
}

describe('the narrowest line', () => {
  it.each([1, 2, 3, 4, 5, 8, 13, 22, 23])('of a straight line %i px wide is exact along the axes', (width) => {
    expect(lineWidthsOf(line(width, 0), fine).lineUmMin).toBeCloseTo(width, 5)
    expect(lineWidthsOf(line(width, 90), fine).lineUmMin).toBeCloseTo(width, 5)
  })

  it.each([
    [1, 0.72],
    [3, 2.13],
    [4, 2.84],
    [7, 4.96],
    [20, 14.15],
  ])('of %i diagonals of pixels is their true width at 45°', (diagonals, width) => {
    const band = drawn(120, 120, (x, y) => x - y >= 0 && x - y < diagonals)
    expect(Math.abs(lineWidthsOf(band, fine).lineUmMin! - width)).toBeLessThan(0.3)
  })

  it.each([10, 22.5, 30, 37, 45, 60, 75])('of a slanted line is within a pixel at %i°', (deg) => {
    for (const width of [3, 5, 8, 13, 20]) {
      expect(Math.abs(lineWidthsOf(line(width, deg), fine).lineUmMin! - width)).toBeLessThan(1.15)
    }
  })

  it.each([2, 3, 5, 10, 20, 50, 100])(
    'of a disc of radius %i px is about its diameter, whatever its raster edge does',
    (radius) => {
      expect(Math.abs(lineWidthsOf(disc(radius), fine).lineUmMin! - 2 * radius)).toBeLessThan(radius > 10 ? 4.5 : 1)
    },
  )

  it.each([0, 15, 33, 45])('of a square turned by %i° is its side, not its corners', (deg) => {
    expect(Math.abs(lineWidthsOf(square(80, deg), fine).lineUmMin! - 80)).toBeLessThan(4)
  })

  it.each([90, 60, 45, 30])('of a triangle is not the tip of %i°', (deg) => {
    const slope = Math.tan(((deg / 2) * Math.PI) / 180)
    const triangle = drawn(300, 300, (x, y) => y > 10 && y < 250 && Math.abs(x - 150.3) < (y - 10) * slope)
    expect(lineWidthsOf(triangle, fine).lineUmMin!).toBeGreaterThan(50)
  })

  it('is that of a bridge between two large shapes, long or short', () => {
    for (const gap of [8, 40]) {
      const pair = drawn(300, 120, (x, y) => {
        const ball = Math.hypot(x - 60, y - 60) < 50 || Math.hypot(x - (160 + gap), y - 60) < 50
        return ball || (y > 58 && y < 61 && x > 60 && x < 160 + gap)
      })
      expect(lineWidthsOf(pair, fine).lineUmMin).toBe(3)
    }
  })

  it('is that of a waist', () => {
    const waist = drawn(200, 100, (x, y) => Math.abs(y - 50) < 6 + Math.abs(x - 100) / 3)
    expect(Math.abs(lineWidthsOf(waist, fine).lineUmMin! - 12)).toBeLessThan(1)
  })

  it('is absent where nothing is laid, and where all is wide', () => {
    expect(
      lineWidthsOf(
        drawn(50, 50, () => false),
        fine,
      ),
    ).toEqual({})
    expect(
      lineWidthsOf(
        drawn(1_700, 1_700, () => true),
        fine,
      ).lineUmMin,
    ).toBeUndefined()
  })

  it('counts what ends at the edge of the image as ending there', () => {
    expect(
      lineWidthsOf(
        drawn(100, 40, (_, y) => y < 3),
        fine,
      ).lineUmMin,
    ).toBe(3)
  })

  it('is given in µm at the resolution, in both directions of a coarser one', () => {
    const coarse = { acrossDpi: 254, alongDpi: 127 }
    const level = drawn(100, 50, (x, y) => y > 20 && y < 23 && x > 10 && x < 90)
    expect(lineWidthsOf(level, coarse).lineUmMin).toBeCloseTo(600, 5)
    const upright = drawn(100, 50, (x, y) => x > 20 && x < 25 && y > 5 && y < 45)
    expect(lineWidthsOf(upright, coarse).lineUmMin).toBeCloseTo(500, 5)
  })
})

describe('the narrowest gap', () => {
  it.each([1, 2, 5, 12])('of %i px between two blocks is exact', (gap) => {
    const blocks = drawn(200, 100, (x, y) => y > 10 && y < 90 && ((x > 10 && x < 80) || (x > 80 + gap && x < 180)))
    expect(lineWidthsOf(blocks, fine).gapUmMin).toBeCloseTo(gap, 5)
  })

  it.each([30, 61])('of %i px between two blocks is within four pixels', (gap) => {
    const blocks = drawn(400, 100, (x, y) => y > 10 && y < 90 && ((x > 10 && x < 80) || (x > 80 + gap && x < 380)))
    expect(Math.abs(lineWidthsOf(blocks, fine).gapUmMin! - gap)).toBeLessThanOrEqual(4)
  })

  it('is seen to end at a hairline, however wide it is', () => {
    const parted = drawn(
      400,
      100,
      (x, y) => (x > 10 && x < 80) || (x > 180 && x < 380) || (x > 130 && x < 131 && y > 0),
    )
    expect(Math.abs(lineWidthsOf(parted, fine).gapUmMin! - 50)).toBeLessThanOrEqual(4)
    expect(lineWidthsOf(parted, fine).lineUmMin).toBe(1)
  })

  it('of a hole is its diameter', () => {
    expect(Math.abs(lineWidthsOf(inverse(disc(20)), fine).gapUmMin! - 40)).toBeLessThan(4)
  })

  it('is none between artwork and the edge of the image, nor around one shape', () => {
    expect(lineWidthsOf(square(200, 0), fine).gapUmMin).toBeUndefined()
    expect(lineWidthsOf(disc(90), fine).gapUmMin).toBeUndefined()
  })
})
