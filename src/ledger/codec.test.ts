// Entries to canonical bytes and back, and what is no entry.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { anyDraft } from '../../tests/fixtures/entry-arbitraries.ts'
import { answerDraft } from '../../tests/fixtures/sample-entries.ts'
import { canonicalText } from '../kernel/bytes.ts'
import { decodeEntry, encodeEntry } from './codec.ts'
import type { Entry } from './entries.ts'

const stamp = { v: 1, index: 7, atMs: 1_790_000_000_123, epoch: 2, salt: '000102030405060708090a0b0c0d0e0f' } as const
const entry = { ...stamp, ...answerDraft({ frame: 3, cell: 2 }) } as Entry
const bytes = encodeEntry(entry)
const text = Buffer.from(bytes).toString()
const decodeText = (changed: string) => () => decodeEntry(Buffer.from(changed))

describe('encoding an entry', () => {
  it('gives the bytes of the general canonical form, for whatever the schemas allow', () => {
    const stamps = fc.record({
      v: fc.constant(1 as const),
      index: fc.maxSafeNat(),
      atMs: fc.maxSafeInteger(),
      epoch: fc.maxSafeNat(),
      salt: fc.string({ unit: fc.constantFrom(...'0123456789abcdef'), minLength: 32, maxLength: 32 }),
    })
    fc.assert(
      fc.property(anyDraft, stamps, (draft, made) => {
        const whole = { ...draft, ...made } as Entry
        expect(Buffer.from(encodeEntry(whole)).toString()).toBe(canonicalText(whole))
        expect(canonicalText(decodeEntry(encodeEntry(whole)))).toBe(canonicalText(whole))
      }),
      { numRuns: 3_000 },
    )
  })

  it('gives the same bytes whatever the order of keys, and leaves out what is undefined', () => {
    const { body } = entry as Entry & { type: 'answer' }
    const turned = { ...Object.fromEntries(Object.entries(body).reverse()), cause: undefined, setup: undefined }
    expect(encodeEntry({ ...entry, body: turned } as unknown as Entry)).toEqual(bytes)
    const frame = { frame: 1, place: 1, positionUm: 5, capture: undefined }
    expect(Buffer.from(encodeEntry({ ...stamp, type: 'frame', body: frame } as unknown as Entry)).toString()).toContain(
      '"body":{"frame":1,"place":1,"positionUm":5}',
    )
  })

  it('has no newline in it, so that a ledger can be exported line by line', () => {
    const noted = { ...stamp, type: 'material', body: { event: 'splice', note: 'first\nsecond\r\u2028' } } as const
    expect(Buffer.from(encodeEntry(noted)).includes('\n')).toBe(false)
    expect(decodeEntry(encodeEntry(noted))).toEqual(noted)
  })

  it('refuses half a surrogate pair, and takes a text that merely spells one', () => {
    const noted = (note: string): Entry => ({ ...stamp, type: 'material', body: { event: 'splice', note } })
    for (const half of ['\ud800', 'a\udfffb', '\\\ud83d', '\ude00\ud83d']) {
      expect(() => encodeEntry(noted(half))).toThrow(expect.objectContaining({ code: 'bad-request' }))
    }
    for (const whole of ['\ud83d\ude00', '\\ud800', '\\\\udfff', '\\']) {
      expect(decodeEntry(encodeEntry(noted(whole)))).toEqual(noted(whole))
    }
  })

  it.each([1.5, 2 ** 53, Number.NaN, Number.POSITIVE_INFINITY])(
    'fails on the number %d, which no entry may hold',
    (n) => {
      expect(() => encodeEntry({ ...entry, index: n })).toThrow('invariant broken')
      const body = { frame: 1, place: 1, positionUm: n }
      expect(() => encodeEntry({ ...stamp, type: 'frame', body })).toThrow('invariant broken')
    },
  )

  it.each([null, true, undefined])('fails on %s within a list', (value) => {
    const body = { to: 'open', by: 'x', lanes: [value] }
    expect(() => encodeEntry({ ...stamp, type: 'step', body } as unknown as Entry)).toThrow('invariant broken')
  })
})

describe('decoding an entry', () => {
  it('gives back what was encoded', () => {
    expect(decodeEntry(bytes)).toEqual(entry)
  })

  const refused: Record<string, string> = {
    'white space': text.replace(':', ': '),
    'a newline at the end': `${text}\n`,
    'a byte order mark': `\ufeff${text}`,
    'keys out of order': text.replace(/("epoch":2),("index":7)/, '$2,$1'),
    'a doubled key': text.replace('"epoch":2', '"epoch":2,"epoch":2'),
    'an escape that needs none': text.replace('zitrone', '\\u007aitrone'),
    'a number in another form': text.replace('"index":7', '"index":7.0'),
    'a number with an exponent': text.replace('"index":7', '"index":7e0'),
    'an unknown key': text.replace('{"atMs"', '{"a":1,"atMs"'),
    'an unknown key in the body': text.replace('"body":{', '"body":{"a":1,'),
    'a key named __proto__': text.replace('{"atMs"', '{"__proto__":1,"atMs"'),
    'a key named __proto__ in the body': text.replace('"body":{', '"body":{"__proto__":{},'),
    'a missing key': text.replace('"epoch":2,', ''),
    'a value that is null': text.replace('"epoch":2', '"epoch":null'),
    'an unknown type': text.replace('"type":"answer"', '"type":"replies"'),
    'the body of another type': text.replace('"type":"answer"', '"type":"frame"'),
    'an unknown flag': text.replace('"flags":[]', '"flags":["fine"]'),
    'another version of the form': text.replace('"v":1', '"v":2'),
    'a salt that is too short': text.replace('0f"', '"'),
    'a list': '[]',
    'no JSON': text.slice(0, -1),
    nothing: '',
  }
  it.each(Object.entries(refused))('refuses %s', (_, changed) => {
    expect(changed).not.toBe(text)
    expect(decodeText(changed)).toThrow(expect.objectContaining({ code: 'ledger-bad' }))
  })

  it('refuses a key named __proto__ in the body of every type', () => {
    const body = '{"__proto__":1,"event":"splice"}'
    expect(
      decodeText(text.replace(/"body":.*,"epoch"/, `"body":${body},"epoch"`).replace('"answer"', '"material"')),
    ).toThrow(expect.objectContaining({ code: 'ledger-bad' }))
  })

  it('refuses bytes that are not UTF-8', () => {
    const broken = Buffer.from(bytes)
    broken[broken.indexOf('zitrone')] = 0xff
    expect(() => decodeEntry(broken)).toThrow(expect.objectContaining({ code: 'ledger-bad' }))
  })
})
