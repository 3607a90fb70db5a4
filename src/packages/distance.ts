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
/** The longest reach, in shorter pixel sides. */
export const reachPxMax = 255

export interface DistanceMap {
  /** In 1/128 of the pixel's shorter side; negative on bare ground; `beyond` (or minus it) where nothing is within reach. */
  readonly distances: Int16Array
  readonly beyond: number
}

// Pixels up or down to the nearest one of the other kind, at most `limit`. What lies outside the image counts as bare: it ends ink
// that reaches the edge, and never ends bare ground.
function columnSteps({ widthPx, heightPx, ink }: Bitmap, limit: number): Uint8Array {
  const steps = new Uint8Array(widthPx * heightPx)
  for (let x = 0; x < widthPx; x += 1) steps[x] = ink[x] === 1 ? 1 : limit
  for (let at = widthPx, above = 0; at < steps.length; at += 1, above += 1) {
    const far = steps[above] as number
    steps[at] = ink[at] !== ink[above] ? 1 : far < limit ? far + 1 : limit
  }
  const last = widthPx * (heightPx - 1)
  for (let x = 0; x < widthPx; x += 1) if (ink[last + x] === 1) steps[last + x] = 1
  for (let at = last - 1, below = last - 1 + widthPx; at >= 0; at -= 1, below -= 1) {
    const far = ink[at] === ink[below] ? (steps[below] as number) + 1 : 1
    if (far < (steps[at] as number)) steps[at] = far
  }
  return steps
}

interface Envelope {
  /** Where each parabola stands, how high its foot is, and from where on it is the lowest. */
  readonly at: Int32Array
  readonly foot: Float64Array
  readonly from: Float64Array
  count: number
}

function addParabola(envelope: Envelope, at: number, foot: number): void {
  let from = Number.NEGATIVE_INFINITY
  while (envelope.count > 0) {
    const top = envelope.count - 1
    const other = envelope.at[top] as number
    from = (foot + at * at - (envelope.foot[top] as number) - other * other) / (2 * (at - other))
    if (from > (envelope.from[top] as number)) break
    envelope.count -= 1
    from = Number.NEGATIVE_INFINITY
  }
  envelope.at[envelope.count] = at
  envelope.foot[envelope.count] = foot
  envelope.from[envelope.count] = from
  envelope.count += 1
}

interface Run {
  /** Index of the row's first pixel. */
  readonly row: number
  readonly start: number
  readonly end: number
  /** 1/128 pixels for one pixel across; negative on bare ground. */
  readonly scale: number
  /** Reach in pixels across. */
  readonly reach: number
}

// Writes the distances that are within reach, parabola by parabola; the rest stays as it is.
function fillRun(distances: Int16Array, envelope: Envelope, { row, start, end, scale, reach }: Run): void {
  for (let i = 0; i < envelope.count; i += 1) {
    const stand = envelope.at[i] as number
    const foot = envelope.foot[i] as number
    const next = i + 1 < envelope.count ? (envelope.from[i + 1] as number) : end
    const first = Math.max(start, Math.ceil(envelope.from[i] as number), Math.ceil(stand - reach))
    const until = Math.min(end, next, stand + reach)
    for (let x = first; x < until; x += 1) {
      const offset = x - stand
      const square = offset * offset + foot
      if (square < reach * reach) distances[row + x] = Math.sqrt(square) * scale
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
  const steps = columnSteps(bitmap, limit)
  const beyond = reachPx * distanceSteps
  const distances = new Int16Array(widthPx * heightPx)
  const squash = (shape.along / shape.across) ** 2
  const reach = reachPx / shape.across
  const envelope: Envelope = {
    at: new Int32Array(widthPx + 2),
    foot: new Float64Array(widthPx + 2),
    from: new Float64Array(widthPx + 2),
    count: 0,
  }
  for (let row = 0; row < distances.length; row += widthPx) {
    const inkOfRow = ink.subarray(row, row + widthPx)
    // Nothing beyond a pixel of the other kind is nearer than that pixel, so each run of one kind stands alone.
    for (let start = 0; start < widthPx; ) {
      const kind = inkOfRow[start] as number
      const change = inkOfRow.indexOf(1 - kind, start)
      const end = change < 0 ? widthPx : change
      distances.fill(kind === 1 ? beyond : -beyond, row + start, row + end)
      envelope.count = 0
      if (start > 0 || kind === 1) addParabola(envelope, start - 1, 0)
      for (let x = start; x < end; x += 1) {
        const up = steps[row + x] as number
        if (up < limit) addParabola(envelope, x, up * up * squash)
      }
      if (end < widthPx || kind === 1) addParabola(envelope, end, 0)
      fillRun(distances, envelope, { row, start, end, scale: (2 * kind - 1) * distanceSteps * shape.across, reach })
      start = end
    }
  }
  return { distances, beyond }
}
