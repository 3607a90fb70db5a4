// The camera: skew and shift, soft optics, uneven light, sensor noise, and glare. One pass over the picture in integers.
import type { GrayPicture, PointPx } from './gray-picture.ts'
import { seeded } from './random.ts'

export interface View {
  readonly skewRad: number
  /** Of the web under the camera, pixels. */
  readonly shift: PointPx
  /** Brightness against the mean of the roll. */
  readonly gain: number
  readonly noiseSeed: number
}

/** How the camera sees a frame: skewed up to ±0.6°, off by up to 0.8 mm. */
export function viewOf(seed: number): View {
  const random = seeded(seed)
  const spread = (limit: number) => (random() - 0.5) * 2 * limit
  return {
    skewRad: (spread(0.6) * Math.PI) / 180,
    shift: { x: spread(8), y: spread(8) },
    gain: 1 + spread(0.035),
    noiseSeed: Math.floor(random() * 2 ** 30),
  }
}

// About normal, deviation 2.2 gray levels: the sum of three even draws.
function drawNoise(): Int8Array {
  const random = seeded(9)
  return Int8Array.from({ length: 1 << 17 }, () => Math.round((random() + random() + random() - 1.5) * 4.4))
}

interface Lens {
  readonly width: number
  readonly height: number
  readonly marginPx: number
  readonly centre: PointPx
  /** Two lamps, fading to the sides, in 1/1024. */
  readonly lightAcross: Int32Array
  readonly lightAlong: Float64Array
  readonly noise: Int8Array
}

function lensOf({ width, height, marginPx }: Pick<Lens, 'width' | 'height' | 'marginPx'>): Lens {
  const centre = { x: width / 2, y: height / 2 }
  const lightAcross = Int32Array.from({ length: width }, (_, x) => {
    const off = (x - centre.x) / centre.x
    return Math.round(1024 * (0.97 - 0.15 * off * off + 0.03 * Math.cos(off * 7) + 0.03 * off))
  })
  const lightAlong = Float64Array.from({ length: height }, (_, y) => 1 - 0.07 * ((y - centre.y) / centre.y) ** 2)
  return { width, height, marginPx, centre, lightAcross, lightAlong, noise: drawNoise() }
}

/** Fills one row with what the camera sees there, in 16.16 steps over the sheet, between four pixels each. */
function sampleRow({ marginPx, centre }: Lens, sheet: GrayPicture, view: View, y: number, row: Int32Array): void {
  const [cos, sin] = [Math.cos(view.skewRad), Math.sin(view.skewRad)]
  const [stepX, stepY] = [Math.round(cos * 65_536), Math.round(sin * 65_536)]
  const data = sheet.data
  const stride = sheet.width
  let sx = Math.round((marginPx + centre.x + view.shift.x - cos * (centre.x + 1) - sin * (y - centre.y)) * 65_536)
  let sy = Math.round((marginPx + centre.y + view.shift.y - sin * (centre.x + 1) + cos * (y - centre.y)) * 65_536)
  for (let x = 0; x < row.length; x++) {
    const at = (sy >> 16) * stride + (sx >> 16)
    const fx = (sx >> 8) & 255
    const upper = (data[at] as number) * (256 - fx) + (data[at + 1] as number) * fx
    const lower = (data[at + stride] as number) * (256 - fx) + (data[at + stride + 1] as number) * fx
    const fy = (sy >> 8) & 255
    row[x] = (upper * (256 - fy) + lower * fy) >> 16
    sx += stepX
    sy += stepY
  }
}

/** The three rows that one row of the picture is blurred from. */
interface Rows {
  readonly above: Int32Array
  readonly here: Int32Array
  readonly below: Int32Array
}

// Blurs with 1-2-1 both ways (deviation 0.7 pixel), then lights and adds noise.
function developRow(lens: Lens, rows: Rows, out: Uint8ClampedArray, y: number, view: View): void {
  const { width, lightAcross, lightAlong, noise } = lens
  const { above, here, below } = rows
  const gain = Math.round((lightAlong[y] as number) * view.gain * 1024)
  const start = y * width
  let grainAt = (view.noiseSeed + y * 7_919) & 0x1ffff
  let left = (above[0] as number) + 2 * (here[0] as number) + (below[0] as number)
  let middle = (above[1] as number) + 2 * (here[1] as number) + (below[1] as number)
  for (let x = 0; x < width; x++) {
    const right = (above[x + 2] as number) + 2 * (here[x + 2] as number) + (below[x + 2] as number)
    const light = ((lightAcross[x] as number) * gain) >> 10
    const gray = (((left + 2 * middle + right) * light) >> 14) + (noise[grainAt] as number)
    out[start + x] = gray
    grainAt = (grainAt + 1) & 0x1ffff
    left = middle
    middle = right
  }
}

function takePicture(lens: Lens, sheet: GrayPicture, view: View): GrayPicture {
  const { width, height } = lens
  const data = new Uint8ClampedArray(width * height)
  let rows: Rows = {
    above: new Int32Array(width + 2),
    here: new Int32Array(width + 2),
    below: new Int32Array(width + 2),
  }
  sampleRow(lens, sheet, view, -1, rows.here)
  sampleRow(lens, sheet, view, 0, rows.below)
  for (let y = 0; y < height; y++) {
    rows = { above: rows.here, here: rows.below, below: rows.above }
    sampleRow(lens, sheet, view, y + 1, rows.below)
    developRow(lens, rows, data, y, view)
  }
  return { width, height, data: new Uint8Array(data.buffer) }
}

/** Where a point of the sheet is in the picture. */
function seenAt({ marginPx, centre }: Lens, point: PointPx, view: View): PointPx {
  const [cos, sin] = [Math.cos(view.skewRad), Math.sin(view.skewRad)]
  const [dx, dy] = [point.x - marginPx - centre.x - view.shift.x, point.y - marginPx - centre.y - view.shift.y]
  return { x: centre.x + cos * dx + sin * dy, y: centre.y - sin * dx + cos * dy }
}

/** Where a lamp is mirrored: a point of the sheet, and how large the code is that it covers. */
export interface Glare extends PointPx {
  readonly codePx: number
}

function glare(lens: Lens, picture: GrayPicture, spot: Glare, view: View, random: () => number): void {
  const middle = seenAt(lens, spot, view)
  const scale = spot.codePx / 100
  const slant = 0.9 + random() * 0.5
  const [cos, sin] = [Math.cos(slant), Math.sin(slant)]
  const [longPx, shortPx] = [(112 + random() * 30) * scale, (46 + random() * 8) * scale]
  const reach = Math.round(260 * scale)
  for (let y = Math.max(0, Math.round(middle.y) - reach); y < Math.min(lens.height, middle.y + reach); y++) {
    for (let x = Math.max(0, Math.round(middle.x) - reach); x < Math.min(lens.width, middle.x + reach); x++) {
      const [dx, dy] = [x - middle.x, y - middle.y]
      const along = (cos * dx + sin * dy) / longPx
      const across = (cos * dy - sin * dx) / shortPx
      const off = Math.sqrt(along * along + across * across) + 0.05 * Math.sin(along * 9)
      const burnt = Math.min(1, Math.max(0, (1.25 - off) / 0.25))
      const halo = Math.max(0, 1 - off / 2.4) ** 2
      const at = y * picture.width + x
      picture.data[at] = Math.min(255, (picture.data[at] ?? 0) + 255 * burnt + 90 * halo)
    }
  }
}

export interface Camera {
  take(sheet: GrayPicture, view: View): GrayPicture
  /** A lamp mirrored in a glossy wrinkle: a slanted streak, burnt out in the middle and soft at its rim, over a point of the sheet. */
  glare(picture: GrayPicture, spot: Glare, view: View, random: () => number): void
}

/** A camera that sees a frame of so many pixels; the sheets it is given have a margin on every side. */
export function openCamera(size: { width: number; height: number; marginPx: number }): Camera {
  const lens = lensOf(size)
  return {
    take: (sheet, view) => takePicture(lens, sheet, view),
    glare: (picture, spot, view, random) => glare(lens, picture, spot, view, random),
  }
}
