// Exact Euclidean distances in a bilevel image: for every pixel, how far the nearest pixel of the other kind is. Two passes after
// Meijster, Roerdink and Hesselink (2000), the second as the lower envelope of parabolas of Felzenszwalb and Huttenlocher (2012).

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

/** Distances are held in steps of 1/128 pixel; they end here, just under 256 pixels. */
export const distanceSteps = 128
export const distanceMax = 32_767
const stepsMax = 255

// Pixels up or down to the nearest one of the other kind, at most 255. What lies outside the image counts as bare: it ends ink that
// reaches the edge, and never ends bare ground.
function columnSteps({ widthPx, heightPx, ink }: Bitmap): Uint8Array {
  const steps = new Uint8Array(widthPx * heightPx)
  for (let x = 0; x < widthPx; x += 1) steps[x] = ink[x] === 1 ? 1 : stepsMax
  for (let at = widthPx; at < steps.length; at += 1) {
    const above = steps[at - widthPx] as number
    steps[at] = ink[at] === ink[at - widthPx] ? (above < stepsMax ? above + 1 : stepsMax) : 1
  }
  const last = widthPx * (heightPx - 1)
  for (let x = 0; x < widthPx; x += 1) if (ink[last + x] === 1) steps[last + x] = 1
  for (let at = last - 1; at >= 0; at -= 1) {
    const below = ink[at] === ink[at + widthPx] ? (steps[at + widthPx] as number) + 1 : 1
    if (below < (steps[at] as number)) steps[at] = below
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
}

function fillRun(distances: Int16Array, envelope: Envelope, { row, start, end, scale }: Run): void {
  const { at, foot, from } = envelope
  let top = 0
  let foremost = at[0] as number
  let height = foot[0] as number
  let until = envelope.count > 1 ? (from[1] as number) : Number.POSITIVE_INFINITY
  const limit = (distanceMax / scale) ** 2
  const beyond = scale > 0 ? distanceMax : -distanceMax
  for (let x = start; x < end; x += 1) {
    while (until <= x) {
      top += 1
      foremost = at[top] as number
      height = foot[top] as number
      until = top + 1 < envelope.count ? (from[top + 1] as number) : Number.POSITIVE_INFINITY
    }
    const offset = x - foremost
    const square = offset * offset + height
    distances[row + x] = square < limit ? Math.sqrt(square) * scale : beyond
  }
}

/**
 * Distance of every pixel's centre from the nearest centre of the other kind, in 1/128 of the pixel's shorter side, up to
 * `distanceMax`; negative on bare ground. Outside the image everything is bare. Takes 3 bytes a pixel beyond the bitmap.
 */
export function distancesOf(bitmap: Bitmap, shape: PixelShape): Int16Array {
  const { widthPx, heightPx, ink } = bitmap
  const steps = columnSteps(bitmap)
  const distances = new Int16Array(widthPx * heightPx)
  const squash = (shape.along / shape.across) ** 2
  const envelope: Envelope = {
    at: new Int32Array(widthPx + 2),
    foot: new Float64Array(widthPx + 2),
    from: new Float64Array(widthPx + 2),
    count: 0,
  }
  for (let y = 0; y < heightPx; y += 1) {
    const row = y * widthPx
    // Nothing beyond a pixel of the other kind is nearer than that pixel, so each run of one kind stands alone.
    for (let start = 0; start < widthPx; ) {
      const kind = ink[row + start] as number
      const scale = (kind === 1 ? distanceSteps : -distanceSteps) * shape.across
      envelope.count = 0
      if (start > 0 || kind === 1) addParabola(envelope, start - 1, 0)
      let end = start
      for (; end < widthPx && ink[row + end] === kind; end += 1) {
        const up = steps[row + end] as number
        if (up < stepsMax) addParabola(envelope, end, up * up * squash)
      }
      if (end < widthPx || kind === 1) addParabola(envelope, end, 0)
      if (envelope.count > 0) fillRun(distances, envelope, { row, start, end, scale })
      else distances.fill(kind === 1 ? distanceMax : -distanceMax, row + start, row + end)
      start = end
    }
  }
  return distances
}
