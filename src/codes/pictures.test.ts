// Decoding pictures: what comes out, and what is refused how.
import { mkdtemp, rm, truncate, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { deflateSync } from 'node:zlib'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { spellTiff } from '../../tests/fuzz/arbitraries/tiff-file.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { decodeGray, readPictureFile } from './pictures.ts'

const width = 40
const height = 30
const ramp = Uint8Array.from({ length: width * height }, (_, index) => (index % width) * 6)
const drawn = () => sharp(ramp, { raw: { width, height, channels: 1 } })

async function refusal(attempt: Promise<unknown>): Promise<Problem> {
  const outcome = await attempt.then(
    () => undefined,
    (error: unknown) => error,
  )
  if (outcome instanceof Problem) return outcome
  throw new Error(`not refused with a problem: ${String(outcome)}`)
}

/** A PNG whose header claims what it likes; its data are empty. */
function pngThatClaims(claim: { width: number; height: number }): Uint8Array {
  const header = Buffer.alloc(13)
  header.writeUInt32BE(claim.width, 0)
  header.writeUInt32BE(claim.height, 4)
  header.set([8, 0, 0, 0, 0], 8)
  const chunk = (type: string, data: Buffer): Buffer => {
    const body = Buffer.concat([Buffer.from(type), data])
    const frame = Buffer.alloc(8)
    frame.writeUInt32BE(data.length, 0)
    frame.writeUInt32BE(crc(body), 4)
    return Buffer.concat([frame.subarray(0, 4), body, frame.subarray(4)])
  }
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a])
  return Buffer.concat([
    signature,
    chunk('IHDR', header),
    chunk('IDAT', deflateSync(Buffer.alloc(0))),
    chunk('IEND', Buffer.alloc(0)),
  ])
}

function crc(bytes: Uint8Array): number {
  let value = 0xffffffff
  for (const byte of bytes) {
    value ^= byte
    for (let bit = 0; bit < 8; bit++) value = (value >>> 1) ^ (value & 1 ? 0xedb88320 : 0)
  }
  return (value ^ 0xffffffff) >>> 0
}

describe('decoding a picture', () => {
  it.each(['png', 'tiff', 'webp', 'jpeg'] as const)('gives the gray levels of a %s', async (format) => {
    const bytes = await drawn()
      .toColourspace('b-w')
      .toFormat(format, format === 'webp' ? { lossless: true } : format === 'tiff' ? { compression: 'lzw' } : {})
      .toBuffer()
    const picture = await decodeGray({ bytes })
    expect([picture.width, picture.height, picture.data.length]).toEqual([width, height, width * height])
    const off = Math.max(...picture.data.map((level, index) => Math.abs(level - (ramp[index] ?? 0))))
    expect(off).toBeLessThanOrEqual(format === 'jpeg' ? 6 : format === 'webp' ? 1 : 0)
  })

  it('weighs colours as the eye does', async () => {
    const pixels = Uint8Array.from([255, 0, 0, 0, 255, 0, 0, 0, 255])
    const bytes = await sharp(pixels, { raw: { width: 3, height: 1, channels: 3 } })
      .png()
      .toBuffer()
    const [red = 0, green = 0, blue = 0] = (await decodeGray({ bytes })).data
    expect(green).toBeGreaterThan(red)
    expect(red).toBeGreaterThan(blue)
  })

  it('takes what is transparent for white paper', async () => {
    const pixels = Uint8Array.from([0, 0, 0, 0, 0, 0, 0, 255])
    const bytes = await sharp(pixels, { raw: { width: 2, height: 1, channels: 4 } })
      .png()
      .toBuffer()
    expect([...(await decodeGray({ bytes })).data]).toEqual([255, 0])
  })

  it('cuts 16 bits to 8', async () => {
    const levels = Uint16Array.from([0, 0x7fff, 0xffff])
    const bytes = await sharp(levels, { raw: { width: 3, height: 1, channels: 1 } })
      .toColourspace('grey16')
      .png()
      .toBuffer()
    expect((await sharp(bytes).metadata()).depth).toBe('ushort')
    const [dark = -1, middle = -1, light = -1] = (await decodeGray({ bytes })).data
    expect([dark, light]).toEqual([0, 255])
    expect(Math.abs(middle - 127)).toBeLessThanOrEqual(1)
  })

  it('leaves pixels as the camera stored them, whatever the orientation tag says', async () => {
    const bytes = await drawn().jpeg().withMetadata({ orientation: 6 }).toBuffer()
    expect(await decodeGray({ bytes })).toMatchObject({ width, height })
  })
})

describe('a picture that is refused', () => {
  it.each(['png', 'jpeg', 'tiff', 'webp'] as const)('is any %s cut short', async (format) => {
    const noise = Uint8Array.from({ length: 64 * 64 }, (_, index) => (index * 7919) % 251)
    const bytes = await sharp(noise, { raw: { width: 64, height: 64, channels: 1 } })
      .toFormat(format)
      .toBuffer()
    for (const share of [0, 0.01, 0.1, 0.5, 0.9]) {
      const problem = await refusal(decodeGray({ bytes: bytes.subarray(0, Math.floor(bytes.length * share)) }))
      expect(problem.code).toBe('picture-unreadable')
    }
  })

  it.each([
    ['a GIF', () => drawn().gif().toBuffer()],
    ['an SVG', async () => Buffer.from('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')],
    ['text', async () => Buffer.from('no picture at all')],
  ])('is %s', async (_, make) => {
    expect((await refusal(decodeGray({ bytes: await make() }))).code).toBe('picture-unreadable')
  })

  it('is one that claims more pixels than the limit, by its header alone', async () => {
    const problem = await refusal(
      decodeGray({ bytes: pngThatClaims({ width: 60_000, height: 60_000 }), file: 'web.png' }),
    )
    expect(problem.code).toBe('picture-too-large')
    expect(problem.place).toEqual({ file: 'web.png', measured: 3_600_000_000, limit: limits.capturePixelsMax })
  })

  it('is one whose data do not fill what its header claims', async () => {
    expect((await refusal(decodeGray({ bytes: pngThatClaims({ width: 100, height: 100 }) }))).code).toBe(
      'picture-unreadable',
    )
  })
})

describe('a picture file', () => {
  let folder = ''
  beforeAll(async () => {
    folder = await mkdtemp(path.join(tmpdir(), 'pictures-'))
  })
  afterAll(() => rm(folder, { recursive: true }))

  it('is read whole', async () => {
    const file = path.join(folder, 'whole.png')
    const bytes = await drawn().png().toBuffer()
    await writeFile(file, bytes)
    expect(Buffer.from(await readPictureFile(file)).equals(bytes)).toBe(true)
  })

  it('is refused by its size, unread', async () => {
    const file = path.join(folder, 'vast.png')
    await writeFile(file, '')
    await truncate(file, limits.captureBytesMax + 1)
    const problem = await refusal(readPictureFile(file))
    expect(problem.code).toBe('picture-too-large')
    expect(problem.place).toEqual({ file, measured: limits.captureBytesMax + 1, limit: limits.captureBytesMax })
  })

  it('is refused with its name where it is missing or a folder', async () => {
    const missing = await refusal(readPictureFile(path.join(folder, 'missing.png')))
    expect([missing.code, missing.place.file]).toEqual(['picture-unreadable', path.join(folder, 'missing.png')])
    expect((await refusal(readPictureFile(folder))).code).toBe('picture-unreadable')
  })
})

describe('a TIFF', () => {
  const plain = {
    little: true,
    big: false,
    width: 20,
    height: 12,
    bits: 8,
    compression: 8,
    strips: 1,
    directoryAt: undefined,
    next: 0n,
    count: undefined,
    chain: 0,
    crowd: 0,
    padding: 0,
    entries: [],
    bytes: [],
  } as const

  it.each([
    ['has many pages', { chain: 50 }, /several pages/],
    ['has more entries than any picture', { crowd: 2_000 }, /directory cannot be read/],
  ])('that %s is refused before a decoder walks through it', async (_, twist, why) => {
    expect((await decodeGray({ bytes: spellTiff(plain) })).width).toBe(20)
    expect(await refusal(decodeGray({ bytes: spellTiff({ ...plain, ...twist }) }))).toMatchObject({
      code: 'picture-unreadable',
      message: expect.stringMatching(why),
    })
  })
})
