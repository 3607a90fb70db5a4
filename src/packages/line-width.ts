// The thinnest line that is laid and the thinnest gap that is left free, from the ridges of the distance map.
import { type Bitmap, type DistanceMap, distanceSteps, distancesOf, type PixelShape } from './distance.ts'

export interface LineWidths {
  /** Narrowest positive line, µm; absent where nothing is laid or nothing is narrower than some 800 pixels. */
  readonly lineUmMin?: number
  /** Narrowest reverse line (a gap between what is laid), µm; absent likewise. */
  readonly gapUmMin?: number
}

interface Field {
  readonly widthPx: number
  readonly heightPx: number
  /** Of what is laid positive, of bare ground negative. */
  readonly distances: Int16Array
  /** 1 for what is laid, −1 for bare ground. */
  readonly sign: 1 | -1
  readonly shape: PixelShape
}

interface Spot {
  readonly x: number
  readonly y: number
  /** Distance here, 1/128 pixel. */
  readonly depth: number
}

// A direction through a pixel: the step, its length, and how far apart lines of pixels lie across it.
interface Way {
  readonly dx: number
  readonly dy: number
  readonly length: number
  readonly spacing: number
}

function waysOf({ across, along }: PixelShape): readonly Way[] {
  const slant = Math.hypot(across, along)
  const spacing = (across * along) / slant
  return [
    { dx: 1, dy: 0, length: across * distanceSteps, spacing: across * distanceSteps },
    { dx: 0, dy: 1, length: along * distanceSteps, spacing: along * distanceSteps },
    { dx: 1, dy: 1, length: slant * distanceSteps, spacing: spacing * distanceSteps },
    { dx: 1, dy: -1, length: slant * distanceSteps, spacing: spacing * distanceSteps },
  ]
}

// The distance at a place for pixels of this kind: 0 on the other kind and beside ink; undefined beside bare ground.
function depthAt(field: Field, x: number, y: number): number | undefined {
  if (x < 0 || y < 0 || x >= field.widthPx || y >= field.heightPx) return field.sign === 1 ? 0 : undefined
  return Math.max(0, (field.distances[y * field.widthPx + x] as number) * field.sign)
}

// A pixel is on a ridge when none of its eight neighbours lies deeper (a ridge two pixels wide counts, hence not strictly less). Bare
// ground at the image's edge goes on outside, so it has no ridge there.
function isRidge(field: Field, { x, y, depth }: Spot): boolean {
  const { widthPx, distances, sign } = field
  const inside = x > 0 && y > 0 && x < widthPx - 1 && y < field.heightPx - 1
  const at = y * widthPx + x
  for (let dy = -1; dy <= 1; dy += 1) {
    for (let dx = -1; dx <= 1; dx += 1) {
      const near = inside ? (distances[at + dy * widthPx + dx] as number) * sign : depthAt(field, x + dx, y + dy)
      if (near === undefined || near > depth) return false
    }
  }
  return true
}

/**
 * The width at a ridge. Across a line the distance is a tent whose top need not fall on a pixel: with equal slopes on both sides, the
 * three samples across give its height as depth + length − bend/2, bend being twice the middle sample less the outer two. Distances
 * run from centre to centre, so one spacing of pixel lines goes off the doubled height. Exact at 0°, 45° and 90°.
 */
function widthAt(field: Field, ways: readonly Way[], { x, y, depth }: Spot): number {
  let sharpest = -1
  let width = Number.POSITIVE_INFINITY
  for (const { dx, dy, length, spacing } of ways) {
    const one = depthAt(field, x + dx, y + dy)
    const other = depthAt(field, x - dx, y - dy)
    if (one === undefined || other === undefined) continue
    const bend = 2 * depth - one - other
    if (bend / length <= sharpest) continue
    sharpest = bend / length
    width = 2 * (depth + length) - bend - spacing
  }
  return width
}

// Whether every pixel on the way from a spot to one at (dx, dy) from it is of the spot's kind.
function sees(field: Field, { x, y }: Spot, { dx, dy }: { dx: number; dy: number }): boolean {
  const count = Math.max(Math.abs(dx), Math.abs(dy))
  for (let i = 1; i < count; i += 1) {
    const depth = depthAt(field, Math.round(x + (dx * i) / count), Math.round(y + (dy * i) / count))
    if (depth === undefined || depth === 0) return false
  }
  return true
}

const rasterNoise = 0.4 * distanceSteps
const reachPxMin = 8

/**
 * Whether a ridge spot is only the tip of something wider: within one line width (at least 8 pixels) the same kind lies deeper by more
 * than a seventh and raster noise, and not on two opposite sides, as it would beside a neck. So the corner of a square, the
 * foot of a letter and the ground between two strokes that meet are no lines, and a thin bridge is one. Sampled at an eighth of
 * the depth, as distances change by no more than that in between.
 */
function isTip(field: Field, spot: Spot): boolean {
  const { across, along } = field.shape
  const depthPx = spot.depth / distanceSteps
  const reach = Math.max(reachPxMin, 2 * depthPx)
  const stride = Math.max(1, Math.floor(depthPx / 8))
  const rise = Math.max(rasterNoise, spot.depth / 7)
  const steepRise = Math.max(distanceSteps, spot.depth / 7)
  const steep: { readonly x: number; readonly y: number }[] = []
  let deeper = false
  for (let dy = -Math.floor(reach / along); dy * along <= reach; dy += stride) {
    for (let dx = -Math.floor(reach / across); dx * across <= reach; dx += stride) {
      const risen = (depthAt(field, spot.x + dx, spot.y + dy) ?? 0) - spot.depth
      const away = Math.hypot(dx * across, dy * along)
      if (risen <= rise || away > reach || !sees(field, spot, { dx, dy })) continue
      deeper = true
      if (risen < steepRise) continue
      const toward = { x: (dx * across) / away, y: (dy * along) / away }
      if (steep.some((other) => other.x * toward.x + other.y * toward.y < -0.5)) return false
      steep.push(toward)
    }
  }
  return deeper
}

interface Least {
  /** In 1/128 of the shorter pixel side; infinite where there is none. */
  line: number
  gap: number
}

interface Scan extends DistanceMap {
  readonly widthPx: number
  readonly heightPx: number
  readonly shape: PixelShape
}

// Looks at every pixel that may yet lower one of the least widths, for which nothing is known so far.
function scanRidges(
  { widthPx, heightPx, shape, distances, beyond, isNear }: Scan,
  wanted: { line: boolean; gap: boolean },
): Least {
  const ways = waysOf(shape)
  const slack = Math.max(shape.across, shape.along) * distanceSteps
  const line: Field = { widthPx, heightPx, distances, shape, sign: 1 }
  const gap: Field = { ...line, sign: -1 }
  // Deeper ground must show above a ridge for `isTip`, so what lies close to the reach is left to a longer one.
  const depthMax = Math.floor(beyond * reachShare)
  const least: Least = { line: Number.POSITIVE_INFINITY, gap: Number.POSITIVE_INFINITY }
  // No width is less than the doubled depth less one spacing, so most pixels end at a comparison.
  let above = wanted.line ? depthMax : 0
  let below = wanted.gap ? -depthMax : 0
  for (let y = 0; y < heightPx; y += 1) {
    if (isNear[y] === 0) continue
    for (let x = 0, at = y * widthPx; x < widthPx; x += 1, at += 1) {
      const signed = distances[at] as number
      if (signed > above || signed < below || signed === 0) continue
      // Most others lie on a slope, which the next pixel shows.
      const next = x + 1 < widthPx ? (distances[at + 1] as number) : 0
      if (signed > 0 ? next > signed : next < signed) continue
      const under = y + 1 < heightPx ? (distances[at + widthPx] as number) : 0
      if (signed > 0 ? under > signed : under < signed) continue
      const field = signed > 0 ? line : gap
      const spot = { x, y, depth: Math.abs(signed) }
      if (!isRidge(field, spot)) continue
      const width = widthAt(field, ways, spot)
      if (width >= (signed > 0 ? least.line : least.gap) || isTip(field, spot)) continue
      const depthLimit = Math.min(depthMax, Math.ceil((width + slack) / 2) - 1)
      if (signed > 0) {
        least.line = width
        above = depthLimit
      } else {
        least.gap = width
        below = -depthLimit
      }
    }
  }
  return least
}

const reachShare = 0.75

/** Reach at full resolution: finds what is narrower than 24 pixels, as most artwork has it. */
const fineReachPx = 16
/** What has nothing that narrow is measured on cells of 4 × 4 pixels, which costs a sixteenth and sees some 800 pixels wide. */
const cellPx = 4
const coarseReachPx = 128
/** A line n cells wide covers 4n to 4n + 6 pixels, depending on where the cells fall. */
const cellBiasPx = 3

/**
 * Cells of which every pixel is of the kind, so that nothing else that is thin gets lost. A cell at the edge that is not whole ends
 * what is laid, and continues bare ground, as the edge itself does.
 */
function coarsened({ widthPx, heightPx, ink }: Bitmap, kind: 0 | 1): Bitmap {
  const cellsAcross = Math.ceil(widthPx / cellPx)
  const cellsAlong = Math.ceil(heightPx / cellPx)
  const others = new Uint8Array(cellsAcross * cellsAlong)
  for (let y = 0; y < heightPx; y += 1) {
    const row = y * widthPx
    const cells = Math.floor(y / cellPx) * cellsAcross
    for (let x = 0; x < widthPx; x += 1) if (ink[row + x] !== kind) others[cells + (x >> 2)] = 1
  }
  if (kind === 0) return { widthPx: cellsAcross, heightPx: cellsAlong, ink: others }
  const inkOfCells = others.map((other, at) => {
    const isWhole =
      ((at % cellsAcross) + 1) * cellPx <= widthPx && (Math.floor(at / cellsAcross) + 1) * cellPx <= heightPx
    return isWhole ? 1 - other : 0
  })
  return { widthPx: cellsAcross, heightPx: cellsAlong, ink: inkOfCells }
}

interface Measuring {
  readonly bitmap: Bitmap
  readonly shape: PixelShape
  readonly wanted: { readonly line: boolean; readonly gap: boolean }
  readonly reachPx: number
}

// Least widths in shorter pixel sides; infinite where there is none.
function measure({ bitmap, shape, wanted, reachPx }: Measuring): Least {
  const { widthPx, heightPx } = bitmap
  const least = scanRidges({ widthPx, heightPx, shape, ...distancesOf(bitmap, shape, reachPx) }, wanted)
  return { line: least.line / distanceSteps, gap: least.gap / distanceSteps }
}

function measureCoarse(bitmap: Bitmap, shape: PixelShape, kind: 0 | 1): number {
  const wanted = { line: kind === 1, gap: kind === 0 }
  const { line, gap } = measure({ bitmap: coarsened(bitmap, kind), shape, wanted, reachPx: coarseReachPx })
  return Math.min(line, gap) * cellPx + cellBiasPx
}

/**
 * Narrowest positive and reverse line of a bitmap, µm: to about half a pixel where under 24 pixels, to 4 pixels where wider; beyond some
 * 800 pixels it is left out. Takes 3 bytes a pixel beside it.
 */
export function lineWidthsOf(bitmap: Bitmap, resolution: { acrossDpi: number; alongDpi: number }): LineWidths {
  const pitchUm = 25_400 / Math.max(resolution.acrossDpi, resolution.alongDpi)
  const shape = {
    across: 25_400 / resolution.acrossDpi / pitchUm,
    along: 25_400 / resolution.alongDpi / pitchUm,
  }
  const fine = measure({ bitmap, shape, wanted: { line: true, gap: true }, reachPx: fineReachPx })
  const line = Number.isFinite(fine.line) ? fine.line : measureCoarse(bitmap, shape, 1)
  const gap = Number.isFinite(fine.gap) ? fine.gap : measureCoarse(bitmap, shape, 0)
  return {
    ...(Number.isFinite(line) ? { lineUmMin: line * pitchUm } : {}),
    ...(Number.isFinite(gap) ? { gapUmMin: gap * pitchUm } : {}),
  }
}
