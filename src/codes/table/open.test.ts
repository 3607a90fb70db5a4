// Opening code indexes that are damaged, cut, of another version, or made by someone who means harm.
import { createHash } from 'node:crypto'
import { readFile, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { randomFrom } from '../../../tests/drawn-symbols.ts'
import { openFrom, tableFolder } from '../../../tests/fixtures/code-tables.ts'
import { toDigest } from '../../kernel/bytes.ts'
import { Problem } from '../../kernel/problem.ts'
import type { CodeIndex } from './code-index.ts'
import { decodeHeader, headerBytes, sectionsOf, trailerBytes } from './index-format.ts'
import { openCodeIndex } from './open.ts'

const codes = Array.from({ length: 400 }, (_, i) => `Ä-${(i * 7_919).toString(36)}`)
const text = `code,design,print,serial,cell\n${codes.map((code, i) => `${code},D${i % 3},0${i % 2},${i % 5 ? i : `S ${i}`},${1 + (i % 8)}\n`).join('')}`

const soundFile = async (): Promise<Buffer> => readFile((await openFrom(text)).path)

async function openBytes(bytes: Uint8Array, folder: string): Promise<CodeIndex> {
  const path = join(folder, 'tried')
  await writeFile(path, bytes)
  return openCodeIndex(path)
}

/** What opening comes to: the problem's code, or `opened` when it went well. */
async function outcomeOf(bytes: Uint8Array, folder: string): Promise<string> {
  try {
    await openBytes(bytes, folder)
    return 'opened'
  } catch (error) {
    return error instanceof Problem ? error.code : `thrown: ${error}`
  }
}

/** The file with its trailer made to fit what was done to it. */
function resealed(bytes: Buffer): Buffer {
  const end = bytes.length - trailerBytes
  const sum = createHash('sha256').update(bytes.subarray(0, end)).digest()
  return Buffer.concat([bytes.subarray(0, end), sum])
}

describe('a file that is not whole', () => {
  it('is refused wherever it was cut, and with bytes added', async () => {
    const sound = await soundFile()
    const folder = await tableFolder()
    const random = randomFrom(3)
    const { arena, dictionary, trailer } = sectionsOf(decodeHeader(sound, sound.length))
    const ends = [0, 1, 15, headerBytes - 1, headerBytes, arena, dictionary, trailer, sound.length - 1]
    const more = Array.from({ length: 40 }, () => Math.floor(random() * sound.length))
    for (const end of [...ends, ...more]) {
      expect(await outcomeOf(sound.subarray(0, end), folder), `cut at ${end}`).toBe('code-index-bad')
    }
    expect(await outcomeOf(Buffer.concat([sound, Buffer.alloc(1)]), folder)).toBe('code-index-bad')
    expect(await outcomeOf(sound, folder)).toBe('opened')
  })

  it('is refused whichever bit was turned', async () => {
    const sound = await soundFile()
    const folder = await tableFolder()
    const seed = 20_260
    const random = randomFrom(seed)
    const places = Array.from({ length: 250 }, () => Math.floor(random() * sound.length))
    for (const place of [...Array.from({ length: 64 }, (_, i) => i), ...places]) {
      const bytes = Buffer.from(sound)
      bytes[place] = bytes[place]! ^ (1 << Math.floor(random() * 8))
      expect(await outcomeOf(bytes, folder), `bit turned in byte ${place}, seed ${seed}`).toBe('code-index-bad')
    }
  })
})

describe('a file of another kind', () => {
  it('is refused, another version by name', async () => {
    const folder = await tableFolder()
    for (const bytes of [Buffer.from(text), Buffer.alloc(10_000), Buffer.from('\x89PNG\r\n\x1a\n')]) {
      await expect(openBytes(bytes, folder)).rejects.toThrow('no code index')
    }
    const newer = Buffer.from(await soundFile())
    newer.write('2', 15, 'latin1')
    await expect(openBytes(resealed(newer), folder)).rejects.toMatchObject({
      code: 'code-index-bad',
      place: { measured: '"2"', limit: '1' },
    })
  })

  it('is refused where it is not the one that was asked for', async () => {
    const { path, built } = await openFrom(text)
    const digest = toDigest('0'.repeat(64))
    await expect(openCodeIndex(path, { digest })).rejects.toMatchObject({
      place: { measured: built.digest, limit: digest },
    })
    expect((await openCodeIndex(path, { digest: built.digest })).rows).toBe(400)
  })
})

describe('a file made to do harm, with a digest that fits', () => {
  const words = (bytes: Buffer, from: number, to: number): Uint32Array =>
    new Uint32Array(Uint8Array.prototype.slice.call(bytes, from, to).buffer)

  const inEach = (arena: Uint32Array, change: (word: number) => number): void => arena.set(arena.map(change))

  /** The sound file with its directory and arena changed, sealed again. */
  async function altered(change: (sections: { directory: Uint32Array; arena: Uint32Array }) => void): Promise<Buffer> {
    const sound = await soundFile()
    const sections = sectionsOf(decodeHeader(sound, sound.length))
    const directory = words(sound, headerBytes, sections.arena)
    const arena = words(sound, sections.arena, sections.dictionary)
    change({ directory, arena })
    return resealed(
      Buffer.concat([
        sound.subarray(0, headerBytes),
        new Uint8Array(directory.buffer),
        new Uint8Array(arena.buffer),
        sound.subarray(sections.dictionary),
      ]),
    )
  }

  it.each<[string, Parameters<typeof altered>[0]]>([
    ['whose buckets are all one', ({ directory }) => directory.fill(directory.find((start) => start > 0)!)],
    ['whose buckets lie beyond the arena', ({ directory, arena }) => directory.fill(arena.length + 5)],
    ['whose buckets lie beyond all memory', ({ directory }) => directory.fill(0xffffffff)],
    ['whose buckets are empty', ({ directory }) => directory.fill(0)],
    ['with a bucket that never ends', ({ arena }) => inEach(arena, (word) => word & 0x7fffffff)],
    ['with nothing but ones', ({ arena }) => arena.fill(0xffffffff)],
    ['with nothing but zeros', ({ arena }) => arena.fill(0)],
    ['with codes longer than codes can be', ({ arena }) => inEach(arena, (word) => word | 0xff)],
    ['with pairs that it does not have', ({ arena }) => inEach(arena, (word) => word | 0x3ffff)],
    ['with rows that go on for ever', ({ arena }) => inEach(arena, (word) => word | 0x80000000)],
    ['with serials of unknown kinds', ({ arena }) => inEach(arena, (word) => word | (0x1f << 18))],
  ])('is refused: one %s', async (_, change) => {
    expect(await outcomeOf(await altered(change), await tableFolder())).toBe('code-index-bad')
  })

  it.each<[string, number, number]>([
    ['attempt', 16, 4],
    ['carries', 20, 8],
    ['chunk bits', 24, 5],
    ['chunk bits', 24, 32],
    ['buckets', 28, 0],
    ['buckets', 28, 0xffffffff],
    ['rows', 32, 399],
    ['rows', 36, 0xffffffff],
    ['codes', 40, 401],
    ['codes', 40, 0],
    ['arena words', 52, 0xffffffff],
    ['dictionary bytes', 60, 1],
  ])('is refused: one whose header is wrong in %s', async (_, place, value) => {
    const bytes = Buffer.from(await soundFile())
    bytes.writeUInt32LE(value, place)
    expect(await outcomeOf(resealed(bytes), await tableFolder())).toBe('code-index-bad')
  })

  it.each([
    '{}',
    '[]',
    '[[]]',
    '[["D",1]]',
    '[["D",400]]',
    '[["D","x","01"]]',
    '[["",400,"01"]]',
    '[["D",400,""]]',
    'null',
    '[[',
  ])('is refused: one with the dictionary %s', async (json) => {
    const sound = await soundFile()
    const { dictionary } = sectionsOf(decodeHeader(sound, sound.length))
    const bytes = Buffer.concat([sound.subarray(0, dictionary), Buffer.from(json), Buffer.alloc(trailerBytes)])
    bytes.writeUInt32LE(Buffer.byteLength(json), 56)
    expect(await outcomeOf(resealed(bytes), await tableFolder())).toBe('code-index-bad')
  })

  it('is refused or answers something, whatever words are put anywhere', async () => {
    const sound = await soundFile()
    const folder = await tableFolder()
    const seed = 77
    const random = randomFrom(seed)
    let opened = 0
    for (let round = 0; round < 300; round++) {
      const bytes = Buffer.from(sound)
      const inArena = sectionsOf(decodeHeader(sound, sound.length)).arena
      const from = round % 2 === 0 ? 16 : inArena
      for (let i = 0; i <= round % 3; i++) {
        const place = from + 4 * Math.floor((random() * (sound.length - trailerBytes - from)) / 4)
        bytes.writeUInt32LE(Math.floor(random() * 2 ** (1 + 31 * random())), Math.min(place, sound.length - 4))
      }
      const index = await openBytes(resealed(bytes), folder).catch((error: unknown) => error)
      if (index instanceof Problem) expect(index.code).toBe('code-index-bad')
      else {
        opened++
        const answers = codes.map((code, i) => (index as CodeIndex).find(code, 1 + (i % 8)))
        expect(answers.length, `seed ${seed}, round ${round}`).toBe(codes.length)
      }
    }
    // Words between the header's fields and in texts change no structure.
    expect(opened).toBeGreaterThan(10)
    expect(opened).toBeLessThan(290)
  })
})
