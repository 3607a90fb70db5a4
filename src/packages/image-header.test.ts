// What PNG and TIFF headers tell, and that decoding gives back every value.
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import sharp from 'sharp'
import { afterAll, describe, expect, it } from 'vitest'
import { readImageHeader } from './image-header.ts'
import { decodeLayer } from './layer-pixels.ts'

const folder = mkdtempSync(join(tmpdir(), 'rollcall-image-'))
afterAll(() => rmSync(folder, { recursive: true }))

const size = { width: 37, height: 21 }
const gray = Buffer.from(Array.from({ length: 37 * 21 }, (_, i) => (i * 7) % 256))
const deep = Uint16Array.from({ length: 37 * 21 }, (_, i) => (i * 331) % 65_536)
const bilevel = Buffer.from(Array.from({ length: 37 * 21 }, (_, i) => (i % 3 === 0 ? 255 : 0)))
const image = (bytes: Buffer | Uint16Array, space: 'b-w' | 'grey16' = 'b-w') =>
  sharp(bytes, { raw: { ...size, channels: 1 } }).toColourspace(space)

function read(bytes: Uint8Array) {
  const path = join(folder, 'image')
  writeFileSync(path, bytes)
  return { path, ...readImageHeader(path) }
}

const codes = (bytes: Uint8Array): string[] => read(bytes).faults.map(({ code }) => code)

/** Sets the value of a SHORT tag in a little-endian TIFF. */
function withTag(tiff: Buffer, tag: number, value: number): Buffer {
  const bytes = Buffer.from(tiff)
  const directory = bytes.readUInt32LE(4)
  const count = bytes.readUInt16LE(directory)
  for (let i = 0; i < count; i += 1) {
    const entry = directory + 2 + i * 12
    if (bytes.readUInt16LE(entry) === tag) bytes.writeUInt16LE(value, entry + 8)
  }
  return bytes
}

/** Links a next directory behind the first. */
function withSecondPage(tiff: Buffer): Buffer {
  const bytes = Buffer.from(tiff)
  const directory = bytes.readUInt32LE(4)
  bytes.writeUInt32LE(8, directory + 2 + bytes.readUInt16LE(directory) * 12)
  return bytes
}

const tiff = (compression: 'none' | 'lzw' | 'deflate' | 'packbits' = 'none', bigtiff = false) =>
  image(gray).tiff({ compression, bigtiff }).toBuffer()

describe('an image header', () => {
  it('tells size and bits of PNG and TIFF of 1, 8 and 16 bits, and decoding gives back every value', async () => {
    const made: [Promise<Buffer>, number, Buffer | Uint16Array][] = [
      [image(gray).png().toBuffer(), 8, gray],
      [image(gray).png({ progressive: true }).toBuffer(), 8, gray],
      [image(deep, 'grey16').png().toBuffer(), 16, deep],
      [tiff('none'), 8, gray],
      [tiff('lzw'), 8, gray],
      [tiff('deflate'), 8, gray],
      [tiff('packbits'), 8, gray],
      [tiff('lzw', true), 8, gray],
      [image(gray).tiff({ compression: 'lzw', tile: true, tileWidth: 16, tileHeight: 16 }).toBuffer(), 8, gray],
      [image(deep, 'grey16').tiff({ compression: 'deflate', predictor: 'horizontal' }).toBuffer(), 16, deep],
      [image(bilevel).tiff({ bitdepth: 1, compression: 'ccittfax4' }).toBuffer(), 1, bilevel],
    ]
    for (const [bytes, bits, values] of made) {
      const { path, header, faults } = read(await bytes)
      expect(faults).toEqual([])
      expect(header).toMatchObject({ widthPx: 37, heightPx: 21, bits })
      expect([...(await decodeLayer(path, header!)).gray]).toEqual([...values])
    }
  })

  it('gives numbers as they are stored, whatever gamma comes along', async () => {
    const bytes = await image(gray).png().toBuffer()
    const gamma = Buffer.from('0000000467414d410000b18f0bfc6105', 'hex')
    const spliced = Buffer.concat([bytes.subarray(0, 33), gamma, bytes.subarray(33)])
    const own = read(spliced)
    expect([...(await decodeLayer(own.path, own.header!)).gray]).toEqual([...gray])
  })

  it('of a TIFF whose white is zero is refused: 0 must be nothing', async () => {
    const bytes = await image(bilevel).tiff({ bitdepth: 1, miniswhite: true, compression: 'none' }).toBuffer()
    expect(read(bytes).faults).toMatchObject([{ code: 'image-colour', measured: 'white is zero' }])
  })

  it('of a TIFF with several pages, turned, signed or in a lossy compression is refused', async () => {
    const plain = await tiff()
    expect(codes(withSecondPage(plain))).toEqual(['image-pages'])
    expect(codes(withTag(plain, 274, 6))).toEqual(['image-unreadable'])
    expect(codes(withTag(plain, 339, 2))).toEqual(['image-depth'])
    expect(codes(withTag(plain, 259, 7))).toEqual(['image-lossy'])
    expect(codes(withTag(plain, 277, 3))).toEqual(['image-colour'])
  })

  it('of a TIFF whose strips lie beyond its end is refused', async () => {
    const plain = await tiff()
    expect(codes(withTag(plain, 279, 60_000))).toEqual(['image-unreadable'])
  })

  it('of bytes that are cut off anywhere never throws', async () => {
    for (const whole of [await image(gray).png().toBuffer(), await tiff('lzw'), await tiff('none', true)]) {
      for (let length = 0; length < whole.length; length += 1) {
        const { faults } = read(whole.subarray(0, length))
        expect(faults.length, `cut at ${length} of ${whole.length}`).toBeGreaterThan(0)
      }
    }
  })
})
