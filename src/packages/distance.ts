// Exact Euclidean distances in a bilevel image up to a reach: for every pixel, how far the nearest pixel of the other kind is. Two
// passes after Meijster, Roerdink and Hesselink (2000), the second as the lower envelope of parabolas of Felzenszwalb and
// Huttenlocher (2012). What lies beyond the reach costs next to nothing, so a short reach is tried first.

/** One byte a pixel, row by row: 1 where something is laid, 0 where nothing is. */
export interface Bitmap {
  readonly widthPx: number
  readonly heightPx: number
  readonly ink: Uint8Array
}

/** Sides of a pixel in units of its shorter side, so that the smaller of the two is 1. */
export interface PixelShape {
  readonly across: number
  readonly along: number
}

/** Distances are held in steps of 1/128 pixel. */
export const distanceSteps = 128
// The longest reach, in shorter pixel sides: column steps are bytes.
const reachPxMax = 255

export interface DistanceMap {
  /** In 1/128 of the pixel's shorter side; negative on bare ground; `beyond` (or minus it) where nothing is within reach. */
  readonly distances: Int16Array
  readonly beyond: number
  /** 1 for each row in which anything lies within reach. */
  readonly isNear: Uint8Array
}

interface ColumnSteps {
  /** Pixels up or down to the nearest one of the other kind, at most the limit. */
  readonly steps: Uint8Array
  /** Rows without any step under the limit. */
  readonly isFar: Uint8Array
}

interface Sweep extends Bitmap {
  readonly limit: number
}

// One more step than the row beside, or one where the kind changes. Returns whether the row has steps under the limit.
function stepRow(
  { widthPx, ink, limit }: Sweep,
  steps: Uint8Array,
  { y, beside }: { y: number; beside: number },
): boolean {
  let near = false
  for (let at = y * widthPx, end = at + widthPx, from = beside * widthPx; at < end; at += 1, from += 1) {
    const far = ink[at] === ink[from] ? (steps[from] as number) + 1 : 1
    const own = steps[at] as number
    if (far < own) {
      steps[at] = far
      near = true
    } else if (own < limit) near = true
  }
  return near
}

// The first or last row: ink reaches the edge, bare ground goes on.
function stepEdge({ widthPx, ink }: Sweep, steps: Uint8Array, y: number): void {
  for (let at = y * widthPx, end = at + widthPx; at < end; at += 1) if (ink[at] === 1) steps[at] = 1
}

// Sweeps down and up. What lies outside the image counts as bare: it ends ink that reaches the edge, and never ends bare ground. A row
// like its neighbour, which is far from any change itself, is far too; margins and floods so cost a comparison of bytes.
function columnSteps(sweep: Sweep): ColumnSteps {
  const { widthPx, heightPx, ink, limit } = sweep
  const steps = new Uint8Array(widthPx * heightPx).fill(limit)
  const isFar = new Uint8Array(heightPx)
  const bytes = Buffer.from(ink.buffer, ink.byteOffset, ink.byteLength)
  const isFarBeside = (y: number, beside: number): boolean =>
    isFar[beside] === 1 &&
    bytes.compare(bytes, beside * widthPx, (beside + 1) * widthPx, y * widthPx, (y + 1) * widthPx) === 0
  stepEdge(sweep, steps, 0)
  stepEdge(sweep, steps, heightPx - 1)
  isFar[0] = ink.subarray(0, widthPx).includes(1) ? 0 : 1
  for (let y = 1; y < heightPx; y += 1) {
    // The last row has steps of its own already.
    const isSettled = y < heightPx - 1 && isFarBeside(y, y - 1)
    isFar[y] = isSettled || !stepRow(sweep, steps, { y, beside: y - 1 }) ? 1 : 0
  }
  for (let y = heightPx - 2; y >= 0; y -= 1) {
    if (!isFarBeside(y, y + 1)) isFar[y] = stepRow(sweep, steps, { y, beside: y + 1 }) ? 0 : 1
  }
  return { steps, isFar }
}

/** Parabolas of one run: where each stands, how high its foot is, and from where on it is the lowest. */
interface Envelope {
  readonly at: Int32Array
  readonly foot: Float64Array
  readonly from: Float64Array
}

interface Run {
  readonly start: number
  readonly end: number
  /** Whether the pixel before and the one behind are of the other kind. */
  readonly isOpen: boolean
  readonly isClosed: boolean
}

interface Row {
  /** Index of the row's first pixel. */
  readonly row: number
  readonly isFar: boolean
  readonly steps: Uint8Array
  readonly limit: number
  /** Square of the ratio of the pixel's sides, along to across. */
  readonly squash: number
}

// The parabolas that are lowest somewhere on a run, left to right; returns how many. Its ends stand at height 0.
function envelopeOf({ start, end, isOpen, isClosed }: Run, row: Row, { at, foot, from }: Envelope): number {
  const { steps, limit, squash } = row
  let count = 0
  const first = isOpen ? start - 1 : start
  const last = isClosed ? end : end - 1
  for (let x = first; x <= last; x += 1) {
    // Where no column changes nearby, only the ends of the run count.
    if (row.isFar && x >= start && x < end) x = end
    if (x > last) break
    const isEnd = x < start || x >= end
    const up = isEnd ? 0 : (steps[row.row + x] as number)
    if (up >= limit) continue
    const height = up * up * squash
    let begin = Number.NEGATIVE_INFINITY
    while (count > 0) {
      const other = at[count - 1] as number
      begin = (height + x * x - (foot[count - 1] as number) - other * other) / (2 * (x - other))
      if (begin > (from[count - 1] as number)) break
      count -= 1
      begin = Number.NEGATIVE_INFINITY
    }
    at[count] = x
    foot[count] = height
    from[count] = begin
    count += 1
  }
  return count
}

interface Filling {
  readonly distances: Int16Array
  readonly row: number
  readonly count: number
  /** 1/128 pixels for one pixel across; negative on bare ground. */
  readonly scale: number
  /** Reach in pixels across. */
  readonly reach: number
}

// Writes the distances that are within reach, parabola by parabola; the rest stays as it is.
function fillRun({ start, end }: Run, { at, foot, from }: Envelope, filling: Filling): void {
  const { distances, row, count, scale, reach } = filling
  const squareMax = reach * reach
  for (let i = 0; i < count; i += 1) {
    const stand = at[i] as number
    const height = foot[i] as number
    const next = i + 1 < count ? (from[i + 1] as number) : end
    const first = Math.max(start, Math.ceil(Math.max(from[i] as number, stand - reach)))
    const until = Math.min(end, next, stand + reach)
    for (let x = first; x < until; x += 1) {
      const square = (x - stand) * (x - stand) + height
      if (square < squareMax) distances[row + x] = Math.sqrt(square) * scale
    }
  }
}

/**
 * Distance of every pixel's centre from the nearest centre of the other kind, if it is less than `reachPx` (in shorter pixel sides, at
 * most 255). Outside the image everything is bare. Takes 3 bytes a pixel beyond the bitmap.
 */
export function distancesOf(bitmap: Bitmap, shape: PixelShape, reachPx: number): DistanceMap {
  const { widthPx, heightPx, ink } = bitmap
  const limit = Math.min(reachPxMax, Math.ceil(reachPx / shape.along))
  const { steps, isFar } = columnSteps({ ...bitmap, limit })
  const beyond = reachPx * distanceSteps
  const distances = new Int16Array(widthPx * heightPx)
  const isNear = new Uint8Array(heightPx)
  const squash = (shape.along / shape.across) ** 2
  const reach = reachPx / shape.across
  const envelope = {
    at: new Int32Array(widthPx + 2),
    foot: new Float64Array(widthPx + 2),
    from: new Float64Array(widthPx + 2),
  }
  for (let y = 0, row = 0; y < heightPx; y += 1, row += widthPx) {
    const inkOfRow = ink.subarray(row, row + widthPx)
    const rowOf = { row, isFar: isFar[y] === 1, steps, limit, squash }
    // Nothing beyond a pixel of the other kind is nearer than that pixel, so each run of one kind stands alone.
    for (let start = 0; start < widthPx; ) {
      const kind = inkOfRow[start] as number
      const change = inkOfRow.indexOf(1 - kind, start)
      const end = change < 0 ? widthPx : change
      const scale = (2 * kind - 1) * distanceSteps * shape.across
      distances.fill(kind === 1 ? beyond : -beyond, row + start, row + end)
      const run = { start, end, isOpen: start > 0 || kind === 1, isClosed: end < widthPx || kind === 1 }
      const count = envelopeOf(run, rowOf, envelope)
      if (count > 0) isNear[y] = 1
      fillRun(run, envelope, { distances, row, count, scale, reach })
      start = end
    }
  }
  return { distances, beyond, isNear }
}
