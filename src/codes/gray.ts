// Gray pictures in memory and the few operations on them that make a bad code readable.

/** 8-bit luminance, row by row without padding; 0 is black. */
export interface GrayPicture {
  readonly data: Uint8Array
  readonly width: number
  readonly height: number
}

/** A box in pixels of a picture; not necessarily whole numbers, nor inside the picture. */
export interface BoxPx {
  readonly left: number
  readonly top: number
  readonly width: number
  readonly height: number
}

/** The part of the picture under the box, widened to whole pixels; undefined where they share none. */
export function crop(
  picture: GrayPicture,
  box: BoxPx,
): { picture: GrayPicture; left: number; top: number } | undefined {
  const left = Math.max(0, Math.floor(box.left))
  const top = Math.max(0, Math.floor(box.top))
  const width = Math.min(picture.width, Math.ceil(box.left + box.width)) - left
  const height = Math.min(picture.height, Math.ceil(box.top + box.height)) - top
  if (!(width > 0 && height > 0)) return undefined
  const data = new Uint8Array(width * height)
  for (let row = 0; row < height; row++) {
    const start = (top + row) * picture.width + left
    data.set(picture.data.subarray(start, start + width), row * width)
  }
  return { picture: { data, width, height }, left, top }
}

/** Spreads the levels between the darkest and the lightest percent over the whole range: contrast down to 3 % becomes readable. */
export function stretch(picture: GrayPicture): GrayPicture {
  const histogram = new Uint32Array(256)
  for (const level of picture.data) histogram[level] = (histogram[level] ?? 0) + 1
  const dark = levelAt(histogram, picture.data.length * 0.01)
  const light = levelAt(histogram, picture.data.length * 0.99)
  const gain = 255 / Math.max(1, light - dark)
  const table = Uint8ClampedArray.from({ length: 256 }, (_, level) => (level - dark) * gain)
  return { ...picture, data: picture.data.map((level) => table[level] ?? 0) }
}

/** The lowest level that has at least `count` pixels at or below it. */
function levelAt(histogram: Uint32Array, count: number): number {
  let sum = 0
  for (let level = 0; level < 256; level++) {
    sum += histogram[level] ?? 0
    if (sum >= count) return level
  }
  return 255
}

/** Gaussian blur, sigma 1.2 px: takes noise away and leaves modules of 3 px and more. */
export function blur(picture: GrayPicture): GrayPicture {
  const { width, height } = picture
  const across = new Float32Array(picture.data.length)
  const line = new Float32Array(Math.max(width, height))
  for (let row = 0; row < height; row++) {
    blurLine({ from: picture.data, to: across, line, start: row * width, step: 1, count: width, bias: 0 })
  }
  const data = new Uint8Array(picture.data.length)
  for (let column = 0; column < width; column++) {
    blurLine({ from: across, to: data, line, start: column, step: width, count: height, bias: 0.5 })
  }
  return { data, width, height }
}

const weights = [0, 1, 2, 3].map((offset) => Math.exp(-(offset ** 2) / (2 * 1.2 ** 2)))
const weightSum = (weights[0] ?? 0) + 2 * weights.slice(1).reduce((sum, weight) => sum + weight, 0)
const [w0 = 0, w1 = 0, w2 = 0, w3 = 0] = weights.map((weight) => weight / weightSum)

interface Line {
  readonly from: Uint8Array | Float32Array
  readonly to: Uint8Array | Float32Array
  /** Scratch for the line, so that each level is fetched once. */
  readonly line: Float32Array
  readonly start: number
  readonly step: number
  readonly count: number
  /** A half where `to` cuts off what lies behind the point. */
  readonly bias: number
}

/** Beyond the ends the last level goes on. */
function blurLine({ from, to, line, start, step, count, bias }: Line): void {
  for (let k = 0; k < count; k++) line[k] = from[start + k * step] ?? 0
  const first = line[0] ?? 0
  const last = line[count - 1] ?? 0
  for (let k = 0; k < count; k++) {
    const near = (line[k - 1] ?? first) + (k + 1 < count ? (line[k + 1] ?? 0) : last)
    const mid = (line[k - 2] ?? first) + (k + 2 < count ? (line[k + 2] ?? 0) : last)
    const far = (line[k - 3] ?? first) + (k + 3 < count ? (line[k + 3] ?? 0) : last)
    to[start + k * step] = w0 * (line[k] ?? 0) + w1 * near + w2 * mid + w3 * far + bias
  }
}

/** Enlarges by a whole factor, with straight lines between the pixels' centres: small modules become readable. */
export function enlarge(picture: GrayPicture, factor: number): GrayPicture {
  const { width: from, height: rows } = picture
  const width = from * factor
  const height = rows * factor
  const data = new Uint8Array(width * height)
  const columns = Array.from({ length: width }, (_, x) => between((x + 0.5) / factor - 0.5, from))
  for (let y = 0; y < height; y++) {
    const row = between((y + 0.5) / factor - 0.5, rows)
    for (let x = 0; x < width; x++) {
      const column = columns[x] ?? { low: 0, high: 0, share: 0 }
      const upper = mix(picture.data, row.low * from, column)
      const lower = mix(picture.data, row.high * from, column)
      data[y * width + x] = upper + (lower - upper) * row.share + 0.5
    }
  }
  return { data, width, height }
}

interface Between {
  readonly low: number
  readonly high: number
  readonly share: number
}

function between(at: number, size: number): Between {
  const inside = Math.min(size - 1, Math.max(0, at))
  const low = Math.floor(inside)
  return { low, high: Math.min(size - 1, low + 1), share: inside - low }
}

function mix(data: Uint8Array, start: number, { low, high, share }: Between): number {
  const left = data[start + low] ?? 0
  return left + ((data[start + high] ?? 0) - left) * share
}
