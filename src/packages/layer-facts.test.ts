// Facts of layers against sums done by hand.
import { describe, expect, it } from 'vitest'
import { factsOf, takeCensus } from './layer-facts.ts'
import type { LayerPixels } from './layer-pixels.ts'
import type { ManifestLayer } from './manifest.ts'

const layerAt = (acrossDpi: number, alongDpi: number, heightUm?: number): ManifestLayer => ({
  layer: 'relief',
  station: heightUm === undefined ? 'foil' : 'inkjet',
  pass: 1,
  order: 1,
  scope: 'cell',
  file: 'relief.png',
  sha256: '0'.repeat(64),
  resolution: { acrossDpi, alongDpi },
  placement: { leftMm: 0, topMm: 0, widthMm: 10, heightMm: 10 },
  ...(heightUm === undefined ? { foil: 'gold' } : { heightUm }),
})

function pixels(
  widthPx: number,
  heightPx: number,
  grayMax: 255 | 65_535,
  paint: (x: number, y: number) => number,
): LayerPixels {
  const gray = grayMax === 255 ? new Uint8Array(widthPx * heightPx) : new Uint16Array(widthPx * heightPx)
  for (let at = 0; at < gray.length; at += 1) gray[at] = paint(at % widthPx, Math.floor(at / widthPx))
  return { widthPx, heightPx, gray, grayMax }
}

const factsFor = (image: LayerPixels, layer: ManifestLayer) => factsOf(layer, takeCensus(image), image.grayMax)

describe('varnish by hand', () => {
  // 10 × 5 mm all at gray 128 of 255, full scale 60 µm: 128/255 × 60 µm = 30.117647 µm over 50 mm².
  // 30.117647 × 50 = 1505.88235 µm·mm², and 1 µm·mm² is 1e-6 mL: 0.00150588235 mL, at any resolution.
  it.each([
    [254, 254, 100, 50],
    [508, 508, 200, 100],
    [254, 127, 100, 25],
  ])('of a uniform gray at %i × %i dpi is area times height', (acrossDpi, alongDpi, widthPx, heightPx) => {
    const facts = factsFor(
      pixels(widthPx, heightPx, 255, () => 128),
      layerAt(acrossDpi, alongDpi, 60),
    )
    expect(facts.varnishMl).toBeCloseTo(0.001_505_882_35, 10)
    expect(facts.coveragePercent).toBe(100)
    expect(facts.heightUmMax).toBeCloseTo(30.117_647, 6)
  })

  // Columns of gray 0 to 255, ten rows: 10 × (255 × 256 / 2) = 326,400 grays = 1280 full pixels of 0.01 mm² (254 dpi) at 50 µm:
  // 1280 × 0.01 × 50 × 1e-6 = 0.00064 mL. Only the column of gray 0 is bare: 255/256 covered.
  it('of a wedge of 8 bits is that of its mean height', () => {
    const facts = factsFor(
      pixels(256, 10, 255, (x) => x),
      layerAt(254, 254, 50),
    )
    expect(facts.varnishMl).toBeCloseTo(0.000_64, 12)
    expect(facts.coveragePercent).toBeCloseTo(99.609_375, 9)
    expect(facts.heightUmMax).toBe(50)
  })

  // Columns of gray 257 x, x from 0 to 255: the same heights in 16 bits, 257 × 255 = 65,535 being full scale.
  it('of the same wedge of 16 bits is the same', () => {
    expect(
      factsFor(
        pixels(256, 10, 65_535, (x) => 257 * x),
        layerAt(254, 254, 50),
      ).varnishMl,
    ).toBeCloseTo(0.000_64, 12)
  })

  // Half of 10 × 10 mm at 40 µm: 50 mm² × 40 µm × 1e-6 = 0.002 mL, at three resolutions.
  it.each([
    [254, 254, 100, 100],
    [508, 508, 200, 200],
    [508, 127, 200, 50],
  ])('of a checkerboard at %i × %i dpi is half of the flood', (acrossDpi, alongDpi, widthPx, heightPx) => {
    const board = pixels(widthPx, heightPx, 255, (x, y) => ((x + y) % 2 === 0 ? 255 : 0))
    const facts = factsFor(board, layerAt(acrossDpi, alongDpi, 40))
    expect(facts.varnishMl).toBeCloseTo(0.002, 12)
    expect(facts.coveragePercent).toBe(50)
  })
})

describe('facts of a foil mask', () => {
  it('have coverage and lines, and neither varnish nor height', () => {
    const bar = pixels(100, 100, 255, (x, y) => (x >= 40 && x < 45 && y >= 10 && y < 90 ? 255 : 0))
    expect(factsFor(bar, layerAt(254, 254))).toEqual({
      layer: 'relief',
      widthPx: 100,
      heightPx: 100,
      coveragePercent: 4,
      lineUmMin: 500,
    })
  })
})
