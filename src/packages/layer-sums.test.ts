// Layer sums against what a hand works out: a wedge, a disc and a checkerboard of known gray, each at three resolutions, and curves.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { encodePng } from '../../demo-jobs/png.ts'
import { deepImage, grayImage } from '../../tests/fixtures/packages.ts'
import { type GrayCurve, heightShare } from './gray-curve.ts'
import { type LayerSum, sumLayer, sumPixels, tileGrayMax, tileMm } from './layer-sums.ts'
import { packSum, unpackSum } from './layer-sums-text.ts'

let folder: string
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-sums-'))
})
afterAll(() => rm(folder, { recursive: true, force: true }))

/** Resolutions whose pixels divide the millimetre evenly, and one that does not. */
const resolutions = [254, 508, 360] as const
type Dpi = { readonly acrossDpi: number; readonly alongDpi: number }
const square = (dpi: number): Dpi => ({ acrossDpi: dpi, alongDpi: dpi })
const pxOf = (mm: number, dpi: number): number => Math.round((mm / 25.4) * dpi)

async function summed(bytes: Uint8Array, resolution: Dpi, curve?: GrayCurve): Promise<LayerSum> {
  const stored = join(folder, `${Math.random()}.bin`)
  await writeFile(stored, bytes)
  return sumLayer({ stored, resolution, ...(curve ? { curve } : {}) })
}

const wedgeMm = { width: 25.5, height: 10 }

describe.each(resolutions)('at %i dpi', (dpi) => {
  const pxMm = 25.4 / dpi

  it('a wedge from gray 0 to 255 comes to half of its area, to the rounding of its steps', async () => {
    const size = { width: pxOf(wedgeMm.width, dpi), height: pxOf(wedgeMm.height, dpi) }
    const gray = (x: number): number => Math.round((255 * x) / (size.width - 1))
    const sum = await summed(await grayImage(size, gray).png().toBuffer(), square(dpi))
    // By hand: a triangle of half the area; to the last digit, the sum of one row's grays, of 255, times the rows and the pixel's area.
    const areaMm2 = size.width * size.height * pxMm ** 2
    expect(Math.abs(sum.fullMm2 - areaMm2 / 2)).toBeLessThan(areaMm2 / 2 / 1000)
    let row = 0
    for (let x = 0; x < size.width; x += 1) row += gray(x)
    expect(sum.fullMm2).toBeCloseTo((row / 255) * size.height * pxMm ** 2, 8)
    expect(sum.peakShare).toBe(1)
    expect(sum.across[0]).toBeLessThan(0.01)
    expect(sum.across.at(-1)).toBeGreaterThan(0.98)
    // At full scale of 60 µm: 60 × area / 2 × 1e-6 mL.
    expect(sum.fullMm2 * 60 * 1e-6).toBeCloseTo(areaMm2 * 30e-6, 5)
  })

  it('a disc of gray 128 comes to 128/255 of π r², within the pixels on its rim', async () => {
    const radiusMm = 8
    const size = { width: pxOf(20, dpi), height: pxOf(20, dpi) }
    const inDisc = (x: number, y: number): boolean =>
      Math.hypot((x + 0.5) * pxMm - 10, (y + 0.5) * pxMm - 10) <= radiusMm
    const sum = await summed(
      await grayImage(size, (x, y) => (inDisc(x, y) ? 128 : 0))
        .tiff({ compression: 'lzw' })
        .toBuffer(),
      square(dpi),
    )
    const byHand = (128 / 255) * Math.PI * radiusMm ** 2
    // Pixels are counted by their centres: the error is far less than half a pixel all along the rim.
    expect(Math.abs(sum.fullMm2 - byHand)).toBeLessThan(((128 / 255) * 2 * Math.PI * radiusMm * pxMm) / 2)
    expect(sum.inkMm2 * (128 / 255)).toBeCloseTo(sum.fullMm2, 8)
    expect(sum.peakShare).toBe(128 / 255)
    // A chord through the middle is 2 r long, of 20 mm.
    const middle = sum.across[Math.floor(sum.across.length / 2)] ?? 0
    expect(middle).toBeCloseTo(((128 / 255) * 16) / 20, 1)
  })

  it('a checkerboard of one bit covers half of its area, whatever the size of its squares', async () => {
    const sidePx = pxOf(1, dpi)
    const size = { widthPx: 12 * sidePx, heightPx: 8 * sidePx }
    const isSet = (at: number): boolean => {
      const column = Math.floor((at % size.widthPx) / sidePx)
      return (column + Math.floor(at / size.widthPx / sidePx)) % 2 === 1
    }
    const pixels = Uint8Array.from({ length: size.widthPx * size.heightPx }, (_, at) => (isSet(at) ? 255 : 0))
    const sum = await summed(encodePng({ ...size, dpi, depth: 1, pixels }), square(dpi))
    // 48 squares of 96 are set.
    expect(sum.inkMm2).toBeCloseTo(48 * (sidePx * pxMm) ** 2, 8)
    expect(sum.fullMm2).toBeCloseTo(sum.inkMm2, 8)
    for (const share of [...sum.across, ...sum.along]) expect(share).toBeCloseTo(0.5, 10)
  })
})

describe('a layer', () => {
  it('of 16 bits counts each of its 65,536 grays', async () => {
    const size = { width: 100, height: 50 }
    const bytes = await deepImage(size, (x, y) => x * 600 + y)
      .png()
      .toBuffer()
    const sum = await summed(bytes, square(254))
    let graySum = 0
    for (let y = 0; y < 50; y += 1) for (let x = 0; x < 100; x += 1) graySum += x * 600 + y
    expect(sum.fullMm2).toBeCloseTo((graySum / 65_535) * 0.01, 9)
    expect(sum.peakShare).toBe(59_449 / 65_535)
  })

  it('goes through the curve of its station, straight between the measured points', async () => {
    const curve = [
      { gray: 0, height: 0 },
      { gray: 0.4, height: 0.2 },
      { gray: 1, height: 1.1 },
    ]
    expect([0, 0.4, 1].map((gray) => heightShare(curve, gray))).toEqual([0, 0.2, 1.1])
    expect(heightShare(curve, 0.2)).toBeCloseTo(0.1, 12)
    expect(heightShare(curve, 0.7)).toBeCloseTo(0.65, 12)
    const bytes = await grayImage({ width: 100, height: 100 }, (x) => (x < 50 ? 51 : 255))
      .png()
      .toBuffer()
    const sum = await summed(bytes, square(254), curve)
    // Half of 100 mm² at gray 0.2 (share 0.1), half at full scale (share 1.1).
    expect(sum.fullMm2).toBeCloseTo(50 * 0.1 + 50 * 1.1, 9)
    expect(sum.peakShare).toBeCloseTo(1.1, 12)
  })

  it('may have another resolution along the web than across', async () => {
    const bytes = await grayImage({ width: 100, height: 200 }, () => 255)
      .png()
      .toBuffer()
    const sum = await summed(bytes, { acrossDpi: 254, alongDpi: 508 })
    expect([sum.widthMm, sum.heightMm, sum.fullMm2].map((value) => value.toFixed(6))).toEqual([
      '10.000000',
      '10.000000',
      '100.000000',
    ])
    expect([sum.across.length, sum.along.length, sum.tilesAcross, sum.tilesAlong]).toEqual([40, 40, 20, 20])
  })

  it('that is no whole picture is refused, not summed up to where it breaks off', async () => {
    const bytes = await sharp({ create: { width: 64, height: 64, channels: 3, background: 'white' } })
      .toColourspace('b-w')
      .png()
      .toBuffer()
    await expect(summed(bytes.subarray(0, bytes.length - 20), square(254))).rejects.toThrow(/cannot be read/)
  })

  it('comes out of its text to the bit', async () => {
    const bytes = await grayImage({ width: 77, height: 31 }, (x, y) => (x * 7 + y * 13) % 256)
      .png()
      .toBuffer()
    const sum = await summed(bytes, square(360))
    expect(unpackSum(packSum(sum))).toEqual(sum)
  })
})

const seed = Number(process.env.ROLLCALL_FUZZ_SEED ?? 20_261_125)

describe(`any layer (seed ${seed})`, () => {
  const layers = fc.record({
    widthPx: fc.integer({ min: 1, max: 40 }),
    heightPx: fc.integer({ min: 1, max: 40 }),
    acrossDpi: fc.integer({ min: 20, max: 700 }),
    alongDpi: fc.integer({ min: 20, max: 700 }),
    values: fc.array(fc.integer({ min: 0, max: 255 }), { minLength: 1, maxLength: 97 }),
  })

  it('has a map of maxima in which no pixel is higher than the tiles it lies in, and each maximum is a pixel', () => {
    fc.assert(
      fc.property(layers, ({ widthPx, heightPx, acrossDpi, alongDpi, values }) => {
        const gray = Uint8Array.from({ length: widthPx * heightPx }, (_, at) => values[(at * 7) % values.length] ?? 0)
        const sum = sumPixels({ widthPx, heightPx, gray, grayMax: 255 }, { resolution: { acrossDpi, alongDpi } })
        const own = new Set([0, ...gray].map((value) => value * 257))
        expect([...sum.tiles].every((tile) => own.has(tile))).toBe(true)
        for (let at = 0; at < gray.length; at += 1) {
          const [x, y] = [at % widthPx, Math.floor(at / widthPx)]
          // Corners and middle of the pixel, a little inside.
          for (const part of [0.01, 0.5, 0.99]) {
            const column = Math.floor(((x + part) * 25.4) / acrossDpi / tileMm)
            const row = Math.floor(((y + part) * 25.4) / alongDpi / tileMm)
            const tile = sum.tiles[row * sum.tilesAcross + column] ?? -1
            expect(tile / tileGrayMax).toBeGreaterThanOrEqual((gray[at] ?? 0) / 255)
          }
        }
      }),
      { seed, numRuns: 60 },
    )
  })

  it('has profiles that hold its volume, across and along', () => {
    fc.assert(
      fc.property(layers, ({ widthPx, heightPx, acrossDpi, alongDpi, values }) => {
        const gray = Uint8Array.from({ length: widthPx * heightPx }, (_, at) => values[(at * 5) % values.length] ?? 0)
        const sum = sumPixels({ widthPx, heightPx, gray, grayMax: 255 }, { resolution: { acrossDpi, alongDpi } })
        const held = (profile: Float64Array, lengthMm: number, otherMm: number): number =>
          profile.reduce((total, share, i) => total + share * Math.min(0.25, lengthMm - i * 0.25), 0) * otherMm
        expect(held(sum.across, sum.widthMm, sum.heightMm)).toBeCloseTo(sum.fullMm2, 6)
        expect(held(sum.along, sum.heightMm, sum.widthMm)).toBeCloseTo(sum.fullMm2, 6)
      }),
      { seed, numRuns: 60 },
    )
  })
})
