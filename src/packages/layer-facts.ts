// What a layer will lay: coverage, varnish, heights and thinnest lines.
import type { Bitmap } from './distance.ts'
import type { LayerPixels } from './layer-pixels.ts'
import { lineWidthsOf } from './line-width.ts'
import type { ManifestLayer } from './manifest.ts'

/** Facts of one layer, per laying of it (scope `cell`: per label; otherwise per frame). */
export interface LayerFacts {
  readonly layer: string
  readonly widthPx: number
  readonly heightPx: number
  /** Share of pixels above 0, %. */
  readonly coveragePercent: number
  /** Height layers: volume as laid, mL, at the nominal curve (height = gray / full scale × heightUm) and no shrinkage. */
  readonly varnishMl?: number
  /** Height layers: greatest height, µm. */
  readonly heightUmMax?: number
  /** Narrowest line that is laid, µm. */
  readonly lineUmMin?: number
  /** Narrowest gap between what is laid, µm. */
  readonly gapUmMin?: number
}

/** Sums over an image in one pass. */
export interface GrayCensus {
  readonly bitmap: Bitmap
  readonly inkPx: number
  readonly graySum: number
  readonly grayTop: number
  /** The least value that is neither 0 nor full scale. */
  readonly between?: number
}

/** Counts every gray value; a table of counts costs less than deciding at each pixel. */
export function takeCensus({ gray, widthPx, heightPx, grayMax }: LayerPixels): GrayCensus {
  const ink = new Uint8Array(gray.length)
  const counts = new Uint32Array(grayMax + 1)
  const bits = grayMax === 255 ? 8 : 16
  for (let at = 0; at < gray.length; at += 1) {
    const value = gray[at] as number
    counts[value] = (counts[value] as number) + 1
    // 0 stays 0, anything else becomes 1.
    ink[at] = (value + grayMax) >> bits
  }
  let graySum = 0
  let grayTop = 0
  let between = 0
  for (let value = 1; value <= grayMax; value += 1) {
    const count = counts[value] as number
    if (count === 0) continue
    graySum += value * count
    grayTop = value
    if (between === 0 && value < grayMax) between = value
  }
  const inkPx = gray.length - (counts[0] as number)
  return { bitmap: { widthPx, heightPx, ink }, inkPx, graySum, grayTop, ...(between > 0 ? { between } : {}) }
}

/** Area of one pixel, mm². */
export const pixelAreaMm2 = ({ acrossDpi, alongDpi }: ManifestLayer['resolution']): number =>
  (25.4 * 25.4) / (acrossDpi * alongDpi)

// One µm over one mm² is a thousandth of a mm³, and a mL has a thousand mm³ (DESIGN §7; shrinkage 0).
function varnishMl(census: GrayCensus, grayMax: number, layer: ManifestLayer, heightUm: number): number {
  return (census.graySum / grayMax) * heightUm * pixelAreaMm2(layer.resolution) * 1e-6
}

/** Facts of a layer whose file is sound. Takes about 4 bytes a pixel beside the census. */
export function factsOf(layer: ManifestLayer, census: GrayCensus, grayMax: number): LayerFacts {
  const { widthPx, heightPx } = census.bitmap
  return {
    layer: layer.layer,
    widthPx,
    heightPx,
    coveragePercent: (100 * census.inkPx) / (widthPx * heightPx),
    ...(layer.heightUm === undefined
      ? {}
      : {
          varnishMl: varnishMl(census, grayMax, layer, layer.heightUm),
          heightUmMax: (census.grayTop / grayMax) * layer.heightUm,
        }),
    ...lineWidthsOf(census.bitmap, layer.resolution),
  }
}
