// How high layers stand over one another: maps of maxima, tile by tile, summed where they lie.
import {
  type GrayCurve,
  heightShare,
  type LayerSum,
  type ManifestCell,
  type RectMm,
  tileGrayMax,
  tileMm,
  toFrame,
} from '../../packages/index.ts'

/** A layer where it lies, in the label's axes (scope cell) or the frame's. */
export interface LaidLayer {
  readonly sum: LayerSum
  readonly leftMm: number
  readonly topMm: number
  /** Cured height at share 1, µm. */
  readonly heightUm: number
  readonly curve: GrayCurve | undefined
}

/** Heights in µm, tile by tile, none below what can stand anywhere in the tile. */
export interface Relief {
  readonly leftMm: number
  readonly topMm: number
  readonly across: number
  readonly along: number
  readonly um: Float64Array
}

// A map of maxima holds few grays (256 from an 8-bit file), so each is put through the curve once.
function sharesOf(curve: GrayCurve | undefined): (gray: number) => number {
  const known = new Map<number, number>()
  return (gray) => {
    const share = known.get(gray) ?? heightShare(curve, gray / tileGrayMax)
    known.set(gray, share)
    return share
  }
}

interface Span {
  readonly first: number
  readonly last: number
}

// Tiles that an extent shares more than an edge with.
function tilesUnder({ fromMm, toMm }: { fromMm: number; toMm: number }, count: number): Span {
  const first = Math.max(0, Math.floor(fromMm / tileMm + 1e-6))
  const last = Math.min(count - 1, Math.ceil(toMm / tileMm - 1e-6) - 1)
  return { first, last }
}

const countOf = (lengthMm: number): number => Math.max(1, Math.ceil(lengthMm / tileMm - 1e-6))

function emptyRelief(layers: readonly LaidLayer[]): Relief {
  const leftMm = Math.min(...layers.map((layer) => layer.leftMm))
  const topMm = Math.min(...layers.map((layer) => layer.topMm))
  const across = countOf(Math.max(...layers.map(({ leftMm: at, sum }) => at + sum.widthMm)) - leftMm)
  const along = countOf(Math.max(...layers.map(({ topMm: at, sum }) => at + sum.heightMm)) - topMm)
  return { leftMm, topMm, across, along, um: new Float64Array(across * along) }
}

// One layer's maxima on the relief's tiles; where tiles don't fall together, the greatest of those that a tile shares.
function mapped({ sum, leftMm, topMm, heightUm, curve }: LaidLayer, relief: Relief): Float64Array {
  const shareOf = sharesOf(curve)
  const own = new Float64Array(relief.um.length)
  for (let row = 0; row < sum.tilesAlong; row += 1) {
    const atMm = topMm + row * tileMm - relief.topMm
    const rows = tilesUnder(
      { fromMm: atMm, toMm: Math.min(atMm + tileMm, topMm + sum.heightMm - relief.topMm) },
      relief.along,
    )
    for (let column = 0; column < sum.tilesAcross; column += 1) {
      const gray = sum.tiles[row * sum.tilesAcross + column] as number
      if (gray === 0) continue
      const um = shareOf(gray) * heightUm
      const fromMm = leftMm + column * tileMm - relief.leftMm
      const toMm = Math.min(fromMm + tileMm, leftMm + sum.widthMm - relief.leftMm)
      const columns = tilesUnder({ fromMm, toMm }, relief.across)
      for (let y = rows.first; y <= rows.last; y += 1) {
        for (let x = columns.first; x <= columns.last; x += 1) {
          const at = y * relief.across + x
          own[at] = Math.max(own[at] as number, um)
        }
      }
    }
  }
  return own
}

/** The layers of one label or one frame, summed; undefined for none. */
export function stacked(layers: readonly LaidLayer[]): Relief | undefined {
  if (layers.length === 0) return undefined
  const relief = emptyRelief(layers)
  for (const layer of layers) {
    const own = mapped(layer, relief)
    for (let at = 0; at < own.length; at += 1) relief.um[at] = (relief.um[at] as number) + (own[at] as number)
  }
  return relief
}

/** Greatest height of a relief, µm; 0 for none. */
export const peakOf = (relief: Relief | undefined): number =>
  relief ? relief.um.reduce((peak, um) => Math.max(peak, um), 0) : 0

function greatestUnder(relief: Relief, rect: RectMm): number {
  const rows = tilesUnder(
    { fromMm: rect.topMm - relief.topMm, toMm: rect.topMm + rect.heightMm - relief.topMm },
    relief.along,
  )
  const columns = tilesUnder(
    { fromMm: rect.leftMm - relief.leftMm, toMm: rect.leftMm + rect.widthMm - relief.leftMm },
    relief.across,
  )
  let greatest = 0
  for (let y = rows.first; y <= rows.last; y += 1) {
    for (let x = columns.first; x <= columns.last; x += 1) {
      greatest = Math.max(greatest, relief.um[y * relief.across + x] as number)
    }
  }
  return greatest
}

/** Several reliefs of which one lies on a frame, as one that is nowhere below any of them; undefined for none. */
export function upperOf(reliefs: readonly Relief[]): Relief | undefined {
  const [first, ...others] = reliefs
  if (!first || others.length === 0) return first
  const leftMm = Math.min(...reliefs.map((relief) => relief.leftMm))
  const topMm = Math.min(...reliefs.map((relief) => relief.topMm))
  const across = countOf(Math.max(...reliefs.map((relief) => relief.leftMm + relief.across * tileMm)) - leftMm)
  const along = countOf(Math.max(...reliefs.map((relief) => relief.topMm + relief.along * tileMm)) - topMm)
  const um = Float64Array.from({ length: across * along }, (_, at) => {
    const rect = {
      leftMm: leftMm + (at % across) * tileMm,
      topMm: topMm + Math.floor(at / across) * tileMm,
      widthMm: tileMm,
      heightMm: tileMm,
    }
    return reliefs.reduce((greatest, relief) => Math.max(greatest, greatestUnder(relief, rect)), 0)
  })
  return { leftMm, topMm, across, along, um }
}

/** Greatest height where a label lies in its cell over what is laid on the frame, µm. Never below the true peak. */
export function peakInCell({
  label,
  cell,
  frame,
}: {
  readonly label: Relief
  readonly cell: ManifestCell
  readonly frame: Relief
}): number {
  let peak = 0
  for (let row = 0; row < label.along; row += 1) {
    for (let column = 0; column < label.across; column += 1) {
      const um = label.um[row * label.across + column] as number
      const leftMm = label.leftMm + column * tileMm
      const rect = { leftMm, topMm: label.topMm + row * tileMm, widthMm: tileMm, heightMm: tileMm }
      if (um > 0) peak = Math.max(peak, um + greatestUnder(frame, toFrame(cell, rect)))
    }
  }
  return peak
}
