// Sums over every pixel of a layer through a station's curve: how much it lays, how high, and where. The body of a worker's task.
import { Problem } from '../kernel/problem.ts'
import { type GrayCurve, shareTable } from './gray-curve.ts'
import { readImageHeader } from './image-header.ts'
import { pixelAreaMm2 } from './layer-facts.ts'
import { decodeLayer, type LayerPixels } from './layer-pixels.ts'
import type { ManifestLayer } from './manifest.ts'

type Resolution = ManifestLayer['resolution']

/** Width of a place in the profiles, mm; the last one may be narrower. */
export const profileMm = 0.25
/** Side of a tile in the map of maxima, mm; the last ones may be narrower. */
export const tileMm = 0.5

/** Of 65,535, the full scale of the map of maxima. */
export const tileGrayMax = 65_535

/**
 * What one laying of a layer comes to. Heights are shares of the stated height (of a foil mask: of the full coat), after the curve:
 * times `heightUm` they are µm. All lengths go by the stated resolution, from the layer's upper left corner, as the file is stored.
 */
export interface LayerSum {
  readonly widthPx: number
  readonly heightPx: number
  readonly widthMm: number
  readonly heightMm: number
  /** Area of pixels above 0, mm². */
  readonly inkMm2: number
  /** Σ share × pixel area, mm²: the area that the same volume would cover at the full stated height. */
  readonly fullMm2: number
  /** Greatest share. */
  readonly peakShare: number
  /** Mean share over the layer's whole width at each place along it, `profileMm` by `profileMm` from the top. */
  readonly along: Float64Array
  /** Mean share over the layer's whole length at each place across it, from the left. */
  readonly across: Float64Array
  readonly tilesAcross: number
  readonly tilesAlong: number
  /**
   * Greatest gray (of 65,535) of each tile of `tileMm`, row by row. A pixel that two tiles share counts in both, so what is stacked from
   * these is never below the true peak; it may exceed it where peaks of two layers lie in one tile side by side.
   */
  readonly tiles: Uint16Array
}

export interface SumTask {
  /** Where the bytes lie. */
  readonly stored: string
  readonly resolution: Resolution
  /** Absent: height = gray. */
  readonly curve?: GrayCurve
}

interface Passed {
  readonly columns: Float64Array
  readonly rows: Float64Array
  readonly inkPx: number
  readonly grayTop: number
  readonly tiles: Uint16Array
}

/** Tiles that a side of so many mm takes. */
const countOf = (lengthMm: number, stepMm: number): number => Math.max(1, Math.ceil(lengthMm / stepMm - 1e-9))

/** Pixels (first, last) that reach into step `step`. */
function pixelsIn(step: number, { pxMm, stepMm, countPx }: { pxMm: number; stepMm: number; countPx: number }) {
  const first = Math.max(0, Math.floor((step * stepMm) / pxMm + 1e-9))
  const last = Math.min(countPx - 1, Math.ceil(((step + 1) * stepMm) / pxMm - 1e-9) - 1)
  return { first, last: Math.max(first, last) }
}

// Takes up one row: sums of its shares in `columns`, the greatest grays in `tops`. The one loop that sees every pixel.
function passRow(
  row: Uint8Array | Uint16Array,
  shares: Float64Array,
  columns: Float64Array,
  tops: Uint16Array,
): { readonly sum: number; readonly ink: number } {
  let sum = 0
  let ink = 0
  for (let x = 0; x < row.length; x += 1) {
    const gray = row[x] as number
    if (gray === 0) continue
    const share = shares[gray] as number
    sum += share
    ink += 1
    columns[x] = (columns[x] as number) + share
    if (gray > (tops[x] as number)) tops[x] = gray
  }
  return { sum, ink }
}

interface Spans {
  readonly across: readonly { readonly first: number; readonly last: number }[]
  readonly along: readonly { readonly first: number; readonly last: number }[]
}

function spansOf({ widthPx, heightPx }: LayerPixels, { acrossDpi, alongDpi }: Resolution): Spans {
  const spans = (countPx: number, dpi: number) => {
    const at = { pxMm: 25.4 / dpi, stepMm: tileMm, countPx }
    return Array.from({ length: countOf(countPx * at.pxMm, tileMm) }, (_, step) => pixelsIn(step, at))
  }
  return { across: spans(widthPx, acrossDpi), along: spans(heightPx, alongDpi) }
}

function topOf(tops: Uint16Array, { first, last }: { first: number; last: number }): number {
  let top = 0
  for (let x = first; x <= last; x += 1) top = Math.max(top, tops[x] as number)
  return top
}

// Row by row. A row that two rows of tiles share is taken up by the first one, and its grays once more by the next.
function passAll(pixels: LayerPixels, shares: Float64Array, spans: Spans): Passed {
  const { widthPx, heightPx, gray, grayMax } = pixels
  const scale = tileGrayMax / grayMax
  const columns = new Float64Array(widthPx)
  const rows = new Float64Array(heightPx)
  const tiles = new Uint16Array(spans.across.length * spans.along.length)
  let inkPx = 0
  let grayTop = 0
  let next = 0
  const tops = new Uint16Array(widthPx)
  for (const [step, { first, last }] of spans.along.entries()) {
    tops.fill(0)
    for (let y = first; y < next; y += 1) raise(tops, gray.subarray(y * widthPx, (y + 1) * widthPx))
    for (; next <= last; next += 1) {
      const { sum, ink } = passRow(gray.subarray(next * widthPx, (next + 1) * widthPx), shares, columns, tops)
      rows[next] = sum
      inkPx += ink
    }
    for (const [column, span] of spans.across.entries()) {
      const top = topOf(tops, span)
      grayTop = Math.max(grayTop, top)
      tiles[step * spans.across.length + column] = top * scale
    }
  }
  return { columns, rows, inkPx, grayTop, tiles }
}

function raise(tops: Uint16Array, row: Uint8Array | Uint16Array): void {
  for (let x = 0; x < row.length; x += 1) {
    if ((row[x] as number) > (tops[x] as number)) tops[x] = row[x] as number
  }
}

// Sums of pixel lines to means over places of `profileMm`; a line that two places share goes to both by its part in each.
function profileOf(lines: Float64Array, { pxMm, acrossPx }: { pxMm: number; acrossPx: number }): Float64Array {
  const lengthMm = lines.length * pxMm
  const count = countOf(lengthMm, profileMm)
  return Float64Array.from({ length: count }, (_, place) => {
    const fromMm = place * profileMm
    const toMm = Math.min(lengthMm, fromMm + profileMm)
    const { first, last } = pixelsIn(place, { pxMm, stepMm: profileMm, countPx: lines.length })
    let sum = 0
    for (let at = first; at <= last; at += 1) {
      const partMm = Math.min(toMm, (at + 1) * pxMm) - Math.max(fromMm, at * pxMm)
      sum += (lines[at] as number) * Math.max(0, partMm)
    }
    return sum / ((toMm - fromMm) * acrossPx)
  })
}

/** Sums over decoded pixels. */
export function sumPixels(pixels: LayerPixels, { resolution, curve }: Omit<SumTask, 'stored'>): LayerSum {
  const { widthPx, heightPx, grayMax } = pixels
  const shares = shareTable(curve, grayMax)
  const spans = spansOf(pixels, resolution)
  const { columns, rows, inkPx, grayTop, tiles } = passAll(pixels, shares, spans)
  const pxMm = { across: 25.4 / resolution.acrossDpi, along: 25.4 / resolution.alongDpi }
  return {
    widthPx,
    heightPx,
    widthMm: widthPx * pxMm.across,
    heightMm: heightPx * pxMm.along,
    inkMm2: inkPx * pixelAreaMm2(resolution),
    fullMm2: rows.reduce((sum, row) => sum + row, 0) * pixelAreaMm2(resolution),
    peakShare: shares[grayTop] as number,
    along: profileOf(rows, { pxMm: pxMm.along, acrossPx: widthPx }),
    across: profileOf(columns, { pxMm: pxMm.across, acrossPx: heightPx }),
    tilesAcross: spans.across.length,
    tilesAlong: spans.along.length,
    tiles,
  }
}

/**
 * Reads a stored layer file and sums over it. One decoded image is in memory at a time, 512 MiB at the most (`limits.imagePixelsMax`);
 * the sums beside it are a few kB. Problem `image-unreadable` where the file is no whole picture.
 */
export async function sumLayer({ stored, ...task }: SumTask): Promise<LayerSum> {
  const { header, faults } = readImageHeader(stored)
  const [fault] = faults
  if (!header || fault)
    throw new Problem('image-unreadable', `the layer cannot be read: ${fault?.message ?? 'no header'}`)
  return sumPixels(await decodeLayer(stored, header), task)
}
