// Writes gray PNGs of 1, 8 or 16 bits, with their resolution. The encoder is plain script, so that the same pixels give the same
// bytes whatever the runtime's own compression library is (ISO/IEC 15948).
import { crc32 } from 'node:zlib'
import { zlibSync } from 'fflate'

const signature = Uint8Array.of(0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a)

function chunk(type: string, data: Uint8Array): Uint8Array {
  const bytes = new Uint8Array(12 + data.length)
  const view = new DataView(bytes.buffer)
  view.setUint32(0, data.length)
  bytes.set(Buffer.from(type, 'latin1'), 4)
  bytes.set(data, 8)
  view.setUint32(8 + data.length, crc32(bytes.subarray(4, 8 + data.length)))
  return bytes
}

function header(sizePx: { width: number; height: number }, depth: number): Uint8Array {
  const bytes = new Uint8Array(13)
  const view = new DataView(bytes.buffer)
  view.setUint32(0, sizePx.width)
  view.setUint32(4, sizePx.height)
  bytes[8] = depth // colour type, compression, filter and interlace stay 0: plain gray
  return bytes
}

function resolution(dpi: number): Uint8Array {
  const bytes = new Uint8Array(9)
  const view = new DataView(bytes.buffer)
  const perMetre = Math.round(dpi / 0.0254)
  view.setUint32(0, perMetre)
  view.setUint32(4, perMetre)
  bytes[8] = 1
  return bytes
}

function paeth(left: number, up: number, upLeft: number): number {
  const [dl, du, dul] = [Math.abs(up - upLeft), Math.abs(left - upLeft), Math.abs(left + up - 2 * upLeft)]
  if (dl <= du && dl <= dul) return left
  return du <= dul ? up : upLeft
}

// Paeth on every row: on smooth ramps within a few per cent of choosing for each row, and simpler.
function filteredRows(rows: Uint8Array, rowBytes: number, pixelBytes: number): Uint8Array {
  const height = rows.length / rowBytes
  const out = new Uint8Array(height * (rowBytes + 1))
  for (let y = 0; y < height; y++) {
    const to = y * (rowBytes + 1)
    out[to] = 4
    for (let x = 0; x < rowBytes; x++) {
      const at = y * rowBytes + x
      const left = x >= pixelBytes ? (rows[at - pixelBytes] ?? 0) : 0
      const up = y > 0 ? (rows[at - rowBytes] ?? 0) : 0
      const upLeft = x >= pixelBytes && y > 0 ? (rows[at - rowBytes - pixelBytes] ?? 0) : 0
      out[to + 1 + x] = ((rows[at] ?? 0) - paeth(left, up, upLeft)) & 0xff
    }
  }
  return out
}

// Filters help little on packed bits; rows stay as they are.
function plainRows(rows: Uint8Array, rowBytes: number): Uint8Array {
  const height = rows.length / rowBytes
  const out = new Uint8Array(height * (rowBytes + 1))
  for (let y = 0; y < height; y++) out.set(rows.subarray(y * rowBytes, (y + 1) * rowBytes), y * (rowBytes + 1) + 1)
  return out
}

/** Rows of bits, each padded to whole bytes, most significant bit first; a pixel of 128 and over is 1. */
function packBits(pixels: Uint8Array, widthPx: number): Uint8Array {
  const rowBytes = Math.ceil(widthPx / 8)
  const height = pixels.length / widthPx
  const out = new Uint8Array(rowBytes * height)
  for (let at = 0; at < pixels.length; at++) {
    const x = at % widthPx
    const to = Math.floor(at / widthPx) * rowBytes + (x >> 3)
    if ((pixels[at] ?? 0) >= 128) out[to] = (out[to] ?? 0) | (0x80 >> (x & 7))
  }
  return out
}

function bigEndian(pixels: Uint16Array): Uint8Array {
  const out = new Uint8Array(pixels.length * 2)
  const view = new DataView(out.buffer)
  pixels.forEach((value, at) => {
    view.setUint16(at * 2, value)
  })
  return out
}

export interface GrayPixels {
  readonly widthPx: number
  readonly heightPx: number
  readonly dpi: number
  /** Bits a pixel; 1 takes 8-bit pixels at 128 and over as set. */
  readonly depth: 1 | 8 | 16
  readonly pixels: Uint8Array | Uint16Array
}

export function encodePng(image: GrayPixels): Uint8Array {
  const { widthPx, heightPx, depth, pixels } = image
  const bytes = pixels instanceof Uint16Array ? bigEndian(pixels) : depth === 1 ? packBits(pixels, widthPx) : pixels
  const rowBytes = Math.ceil((widthPx * depth) / 8)
  const rows = depth === 1 ? plainRows(bytes, rowBytes) : filteredRows(bytes, rowBytes, depth / 8)
  return Buffer.concat([
    signature,
    chunk('IHDR', header({ width: widthPx, height: heightPx }, depth)),
    chunk('pHYs', resolution(image.dpi)),
    chunk('IDAT', zlibSync(rows, { level: 9 })),
    chunk('IEND', new Uint8Array()),
  ])
}
