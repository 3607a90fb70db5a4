// From artwork to the bytes of a layer file: height layers of 8 or 16 bits with sloping edges, and 1-bit foil masks.
import sharp from 'sharp'
import { svgOf, type VarnishArt } from './artwork.ts'
import type { RegionMm } from './label-layout.ts'
import { encodePng, type GrayPixels } from './png.ts'

export type LayerFormat = 'png' | 'tif'

const pixelsAlong = (mm: number, dpi: number): number => Math.round((mm / 25.4) * dpi)

/** Size of a region in pixels: the nearest whole numbers, so never more than half a pixel off. */
export const sizePxOf = (region: RegionMm, dpi: number): { width: number; height: number } => ({
  width: pixelsAlong(region.widthMm, dpi),
  height: pixelsAlong(region.heightMm, dpi),
})

async function rasterise(art: { region: RegionMm; dpi: number; content: string }): Promise<Uint8Array> {
  const svg = svgOf(art.region, sizePxOf(art.region, art.dpi), art.content)
  return sharp(svg).flatten({ background: '#000' }).toColourspace('b-w').extractChannel(0).raw().toBuffer()
}

/** Mean over a line of `2 * radius + 1` pixels, along rows (`step` 1) or columns (`step` width). Edges repeat nothing: outside is 0. */
function boxBlur(
  from: Float64Array<ArrayBuffer>,
  run: { count: number; step: number; lines: number; lineStep: number; radius: number },
): Float64Array<ArrayBuffer> {
  const out = new Float64Array(from.length)
  const span = 2 * run.radius + 1
  for (let line = 0; line < run.lines; line++) {
    const start = line * run.lineStep
    let sum = 0
    for (let at = 0; at < run.radius; at++) sum += from[start + at * run.step] ?? 0
    for (let at = 0; at < run.count; at++) {
      if (at + run.radius < run.count) sum += from[start + (at + run.radius) * run.step] ?? 0
      if (at - run.radius - 1 >= 0) sum -= from[start + (at - run.radius - 1) * run.step] ?? 0
      out[start + at * run.step] = sum / span
    }
  }
  return out
}

// Drops of varnish run at an edge, so artwork slopes there: 0 at the outline, the full height some pixels inside.
function slopes(cover: Uint8Array, sizePx: { width: number; height: number }): Float64Array {
  const { width, height } = sizePx
  let field = Float64Array.from(cover, (value) => value / 255)
  for (let pass = 0; pass < 2; pass++) {
    field = boxBlur(field, { count: width, step: 1, lines: height, lineStep: width, radius: 2 })
    field = boxBlur(field, { count: height, step: width, lines: width, lineStep: 1, radius: 2 })
  }
  return field.map((value) => Math.min(1, Math.max(0, 2 * value - 1)))
}

// Heads place a few hundred heights, not 65,536: sixteen bits carry ten that mean something.
const tenBits = (share: number): number => Math.round(share * 1023) * 64

async function heights(art: VarnishArt, dpi: number, depth: 8 | 16): Promise<Uint8Array | Uint16Array> {
  const size = sizePxOf(art.region, dpi)
  const cover = await rasterise({ region: art.region, dpi, content: art.cover })
  const shade = await rasterise({ region: art.region, dpi, content: art.shade })
  const shares = slopes(cover, size).map((slope, at) => (slope * (shade[at] ?? 0)) / 255)
  return depth === 8 ? Uint8Array.from(shares, (share) => Math.round(share * 255)) : Uint16Array.from(shares, tenBits)
}

async function encode(image: GrayPixels, format: LayerFormat): Promise<Uint8Array> {
  if (format === 'png') return encodePng(image)
  const perMm = image.dpi / 25.4
  return sharp(image.pixels, { raw: { width: image.widthPx, height: image.heightPx, channels: 1 } })
    .toColourspace(image.depth === 16 ? 'grey16' : 'b-w')
    .tiff({
      compression: image.depth === 1 ? 'ccittfax4' : 'deflate',
      ...(image.depth === 1 ? { bitdepth: 1 as const } : {}),
      predictor: image.depth === 1 ? 'none' : 'horizontal',
      xres: perMm,
      yres: perMm,
    })
    .toBuffer()
}

/** A height layer: 0 is nothing, full scale is the layer's stated height. */
export async function heightLayer(
  art: VarnishArt,
  file: { dpi: number; depth: 8 | 16; format: LayerFormat },
): Promise<Uint8Array> {
  const { width, height } = sizePxOf(art.region, file.dpi)
  const pixels = await heights(art, file.dpi, file.depth)
  return encode({ widthPx: width, heightPx: height, dpi: file.dpi, depth: file.depth, pixels }, file.format)
}

/** A foil mask: 1 bit, set where adhesive is laid. */
export async function foilMask(
  art: { region: RegionMm; mask: string },
  file: { dpi: number; format: LayerFormat },
): Promise<Uint8Array> {
  const { width, height } = sizePxOf(art.region, file.dpi)
  const gray = await rasterise({ region: art.region, dpi: file.dpi, content: art.mask })
  const pixels = gray.map((value) => (value >= 128 ? 255 : 0))
  return encode({ widthPx: width, heightPx: height, dpi: file.dpi, depth: 1, pixels }, file.format)
}
