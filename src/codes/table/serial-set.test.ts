// The set of serials: exact to the letter and cell, small, never long at one addition, and the same again from its snapshot.
import { createHash } from 'node:crypto'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { randomFrom } from '../../../tests/drawn-symbols.ts'
import { openSerialSet, restoreSerials, type SerialSet } from './serial-set.ts'

const bytesOf = (set: SerialSet): Uint8Array => Buffer.concat([...set.snapshot()])

describe('a set of serials', () => {
  it('tells serials apart by every letter, by leading zeros and by cell', () => {
    const set = openSerialSet()
    const serials = ['7', '07', '007', '', 'x7', '7x', '７', '000000000000007', '0000000000000007', '999999999999999']
    const keys = serials.flatMap((serial) => [undefined, 1, 2, 256].map((cell) => ({ serial, cell })))
    for (const [tag, { serial, cell }] of keys.entries()) expect(set.add(serial, tag, cell)).toBeUndefined()
    expect(set.size).toBe(keys.length)
    for (const [tag, { serial, cell }] of keys.entries()) expect(set.get(serial, cell)).toBe(tag)
    expect(set.get('8')).toBeUndefined()
    expect(set.get('7', 3)).toBeUndefined()
    expect(set.get('y'.repeat(201))).toBeUndefined()
  })

  it('gives back the tag that a serial had when it gets another', () => {
    const set = openSerialSet()
    expect([set.add('12', 0), set.add('12', 2 ** 32 - 1), set.add('12', 5), set.get('12')]).toEqual([
      undefined,
      0,
      2 ** 32 - 1,
      5,
    ])
    expect([set.add('S', 1, 9), set.add('S', 2, 9), set.size]).toEqual([undefined, 1, 2])
  })

  it('refuses what is no tag or can be no serial', () => {
    const set = openSerialSet()
    for (const tag of [-1, 0.5, 2 ** 32, Number.NaN]) expect(() => set.add('1', tag)).toThrow('a tag fits a word')
    expect(() => set.add('x'.repeat(201), 1)).toThrow('a serial comes from a code')
    expect(() => set.add('1', 1, 257)).toThrow('a serial comes from a code')
    expect(set.size).toBe(0)
  })

  it('does as a Map does, whatever is added, changed, taken out and cleared', () => {
    const serial = fc.oneof(
      fc.integer({ min: 0, max: 40 }).map(String),
      fc.integer({ min: 0, max: 40 }).map((n) => String(n).padStart(3, '0')),
      fc.string({ unit: 'binary', maxLength: 4 }),
      fc.constantFrom('999999999999999', '9999999999999999', '\uD800', '\uDC00'),
    )
    const step = fc.record({
      act: fc.constantFrom('add', 'add', 'add', 'delete', 'get', 'clear'),
      serial,
      cell: fc.constantFrom(undefined, 1, 2),
      tag: fc.nat(),
    })
    fc.assert(
      fc.property(fc.array(step, { maxLength: 300 }), (steps) => {
        const set = openSerialSet()
        const map = new Map<string, number>()
        for (const { act, serial, cell, tag } of steps) {
          const key = `${cell ?? ''}/${serial}`
          if (act === 'clear' && tag % 5 === 0) {
            set.clear()
            map.clear()
          } else if (act === 'delete') expect(set.delete(serial, cell)).toBe(map.delete(key))
          else if (act === 'add') {
            expect(set.add(serial, tag, cell)).toBe(map.get(key))
            map.set(key, tag)
          }
          expect(set.get(serial, cell)).toBe(map.get(key))
          expect(set.size).toBe(map.size)
        }
      }),
    )
  })

  it('stays whole where many serials come and go within one segment', () => {
    const set = openSerialSet()
    const map = new Map<string, number>()
    const random = randomFrom(11)
    for (let i = 0; i < 200_000; i++) {
      const serial = random() < 0.3 ? `S-${Math.floor(random() * 10_000)}` : String(Math.floor(random() * 30_000))
      if (random() < 0.4) expect(set.delete(serial)).toBe(map.delete(serial))
      else {
        set.add(serial, i)
        map.set(serial, i)
      }
    }
    expect(set.size).toBe(map.size)
    for (const [serial, tag] of map) if (set.get(serial) !== tag) expect.fail(`${serial} is lost`)
  })

  it('takes at most 16 bytes a serial of digits, and 16 more than the letters of another', () => {
    const numbers = openSerialSet()
    const texts = openSerialSet()
    const count = 600_000
    for (let i = 0; i < count; i++) numbers.add(String(i * 1_000_003).padStart(12, '0'), i)
    for (let i = 0; i < count; i++) texts.add(`lot-${String(i).padStart(8, '0')}`, i)
    expect(numbers.bytes / count).toBeLessThan(16)
    expect(texts.bytes / count).toBeLessThan(16 + 2 * (12 + 2) * 1.13)
  })
})

describe('a snapshot', () => {
  const filled = (): SerialSet => {
    const set = openSerialSet()
    for (let i = 0; i < 50_000; i++)
      set.add(String(i).padStart(8, '0'), i >> 2, i % 3 === 0 ? 1 + (i % 256) : undefined)
    for (let i = 0; i < 500; i++) set.add(`S ${i} é𝌆\uD800`, 2 ** 32 - 1 - i, i % 2 === 0 ? 256 : undefined)
    for (const big of ['999999999999999', '000000000000000']) set.add(big, 2 ** 32 - 1)
    return set
  }

  it('brings back every serial with its tag and cell, and nothing else', async () => {
    const set = filled()
    const again = await restoreSerials(bytesOf(set))
    expect(again.size).toBe(set.size)
    for (let i = 0; i < 50_000; i++) {
      const serial = String(i).padStart(8, '0')
      const cell = i % 3 === 0 ? 1 + (i % 256) : undefined
      if (again.get(serial, cell) !== i >> 2) expect.fail(`${serial} is lost`)
      if (cell !== undefined && again.get(serial) !== undefined) expect.fail(`${serial} is there without its cell`)
    }
    for (let i = 0; i < 500; i++)
      expect(again.get(`S ${i} é𝌆\uD800`, i % 2 === 0 ? 256 : undefined)).toBe(2 ** 32 - 1 - i)
    expect(again.get('999999999999999')).toBe(2 ** 32 - 1)
    expect(bytesOf(again)).toHaveLength(bytesOf(set).length)
  })

  it('of an empty set is one', async () => {
    expect((await restoreSerials(bytesOf(openSerialSet()))).size).toBe(0)
  })

  it('takes few bytes where serials are numbers in a row', () => {
    const set = openSerialSet()
    for (let i = 0; i < 300_000; i++) set.add(String(i).padStart(9, '0'), 7)
    expect(bytesOf(set).length / set.size).toBeLessThan(4)
  })

  it('can be taken of a set that rests only', () => {
    const set = filled()
    const pieces = set.snapshot()
    pieces.next()
    pieces.next()
    set.add('one more', 1)
    expect(() => [...pieces]).toThrow('a set does not change while its snapshot is taken')
  })

  it('that is damaged, cut or of something else is refused', async () => {
    const sound = Buffer.from(bytesOf(filled()))
    const random = randomFrom(5)
    for (let i = 0; i < 40; i++) {
      const bytes = Buffer.from(sound)
      const place = Math.floor(random() * bytes.length)
      bytes[place] = bytes[place]! ^ (1 << (i % 8))
      await expect(restoreSerials(bytes), `byte ${place}`).rejects.toMatchObject({ code: 'serials-bad' })
      await expect(restoreSerials(sound.subarray(0, place))).rejects.toMatchObject({ code: 'serials-bad' })
    }
    await expect(restoreSerials(Buffer.from('serials'))).rejects.toMatchObject({ code: 'serials-bad' })
  })

  it('made to do harm is refused or a set, in bounded time', async () => {
    const sound = Buffer.from(bytesOf(filled())).subarray(0, -32)
    const random = randomFrom(6)
    for (let i = 0; i < 60; i++) {
      const body = Buffer.from(sound.subarray(0, i % 3 === 0 ? Math.floor(random() * sound.length) : sound.length))
      for (let j = 0; j < 3; j++)
        body[18 + Math.floor(random() * Math.max(1, body.length - 18))] = Math.floor(random() * 256)
      const bytes = Buffer.concat([body, createHash('sha256').update(body).digest()])
      const outcome = await restoreSerials(bytes).catch((error: unknown) => error)
      expect(outcome).toMatchObject(outcome instanceof Error ? { code: 'serials-bad' } : { size: expect.any(Number) })
    }
  })
})

describe('a set of serials that takes in others', () => {
  const serials = ['7', '07', '000000000000007', '999999999999999', '9999999999999999', 'S-1', '\u2003x']

  it('is visited with every serial as it was added', async () => {
    const set = openSerialSet()
    const added = serials.flatMap((serial, i) =>
      [undefined, 1, 256].map((cell, j) => ({ serial, cell, tag: 3 * i + j })),
    )
    for (const { serial, cell, tag } of added) set.add(serial, tag, cell)
    const visited: string[] = []
    await set.visit((serial, cell, tag) => visited.push(`${serial}/${cell}/${tag}`))
    expect(visited.toSorted()).toEqual(added.map(({ serial, cell, tag }) => `${serial}/${cell ?? 0}/${tag}`).toSorted())
  })

  it('gives every serial another tag at once', () => {
    const set = openSerialSet()
    for (const [tag, serial] of serials.entries()) set.add(serial, tag)
    set.retag((tag) => 2 ** 32 - 1 - tag)
    expect(serials.map((serial) => set.get(serial))).toEqual(serials.map((_, tag) => 2 ** 32 - 1 - tag))
  })

  it('merges the tags of those that both have, and takes in nothing of a damaged snapshot', async () => {
    const [set, other] = [openSerialSet(), openSerialSet()]
    for (const serial of serials.slice(0, 5)) set.add(serial, 1)
    for (const serial of serials.slice(3)) other.add(serial, 10)
    const bytes = Buffer.from(bytesOf(other))
    await set.absorb(bytes, (tag, former) => tag + (former ?? 100))
    expect(serials.map((serial) => set.get(serial))).toEqual([1, 1, 1, 11, 11, 110, 110])
    bytes[20] = (bytes[20] as number) ^ 1
    await expect(set.absorb(bytes, () => 0)).rejects.toMatchObject({ code: 'serials-bad' })
    expect(serials.map((serial) => set.get(serial))).toEqual([1, 1, 1, 11, 11, 110, 110])
  })
})
