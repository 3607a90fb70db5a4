// Directories of TIFF files, as encoders write them and as they should never be.
import sharp from 'sharp'
import { describe, expect, it } from 'vitest'
import { Problem } from '../kernel/problem.ts'
import { decodeGray } from './pictures.ts'
import { bytesInMemory, readTiffDirectory } from './tiff-directory.ts'

const picture = (): Promise<Buffer> =>
  sharp(Buffer.alloc(40 * 30, 9), { raw: { width: 40, height: 30, channels: 1 } })
    .toColourspace('b-w')
    .tiff({ compression: 'none' })
    .toBuffer()

/** The file with a directory of two more entries at its end, each of all of its bytes. */
function crowded(sound: Buffer): Buffer {
  const at = sound.readUInt32LE(4)
  const entries = sound.readUInt16LE(at)
  const more = [40_000, 40_001].map((tag) => {
    const entry = Buffer.alloc(12)
    entry.writeUInt16LE(tag, 0)
    entry.writeUInt16LE(1, 2)
    entry.writeUInt32LE(sound.length - 8, 4)
    entry.writeUInt32LE(8, 8)
    return entry
  })
  const count = Buffer.alloc(2)
  count.writeUInt16LE(entries + more.length)
  const file = Buffer.concat([sound, count, sound.subarray(at + 2, at + 2 + 12 * entries), ...more, Buffer.alloc(4)])
  file.writeUInt32LE(sound.length, 4)
  return file
}

describe('the first directory of a TIFF', () => {
  it('gives the values of its entries', async () => {
    const directory = readTiffDirectory(bytesInMemory(await picture()))
    expect([256, 257, 262].map((tag) => directory?.first(tag))).toEqual([40, 30, 1])
    expect(directory).toMatchObject({ isLast: true, isWhole: true, isCrowded: false })
  })

  it('is crowded where its entries name more bytes than the file holds', async () => {
    const directory = readTiffDirectory(bytesInMemory(crowded(await picture())))
    expect(directory).toMatchObject({ isWhole: true, isCrowded: true })
  })

  it('keeps a crowded file from the decoder, which would read all that the entries name', async () => {
    await decodeGray({ bytes: await picture() })
    const refused = await decodeGray({ bytes: crowded(await picture()) }).catch((error: unknown) => error)
    expect(refused).toBeInstanceOf(Problem)
    expect(refused).toMatchObject({ code: 'picture-unreadable', message: expect.stringContaining('name more bytes') })
  })

  it.each([0, 4, 8, 100])('is absent from a file that is cut off at %i bytes', async (length) => {
    expect(readTiffDirectory(bytesInMemory((await picture()).subarray(0, length)))).toBeUndefined()
  })
})
