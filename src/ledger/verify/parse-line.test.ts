// The line reader on everything that is almost canonical JSON.
import { createRequire } from 'node:module'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { anyDraft } from '../../../tests/fixtures/entry-arbitraries.ts'
import { parseLine } from './parse-line.ts'
import { shapeEntry } from './shapes.ts'

const canonicalize = createRequire(import.meta.url)('canonicalize') as (value: unknown) => string
const parse = (text: string) => parseLine(Buffer.from(text))
const notCanonical = expect.objectContaining({ code: 'not-canonical' })
const stamp = { v: 1, index: 0, atMs: 5, epoch: 1, salt: '0f'.repeat(16) }

describe('the line reader', () => {
  it('together with the shape takes canonical entries and nothing that the general canonical form writes otherwise', () => {
    const piece = fc.constantFrom(
      ' ',
      '0',
      '-',
      '.',
      'e',
      '"',
      '\\',
      '\\u0061',
      '\\/',
      ',',
      '{',
      '}',
      '[',
      ']',
      ':',
      'a',
      '\n',
      'true',
    )
    let taken = 0
    fc.assert(
      fc.property(anyDraft, piece, fc.nat(), fc.nat(2), (draft, inserted, at, cut) => {
        const text = canonicalize({ ...stamp, ...draft })
        expect(shapeEntry(parse(text))).toEqual(JSON.parse(text))
        const offset = at % text.length
        // Cutting may leave half a character, which as bytes is the replacement character.
        const changed = Buffer.from(text.slice(0, offset) + inserted + text.slice(offset + cut)).toString()
        let read: unknown
        try {
          read = shapeEntry(parse(changed))
        } catch (fault) {
          expect(['not-canonical', 'shape']).toContain((fault as { code: string }).code)
          return
        }
        taken += 1
        expect(canonicalize(read)).toBe(changed)
      }),
      { numRuns: 5_000 },
    )
    expect(taken).toBeGreaterThan(100)
  })

  const strings = [
    '"é€😀"',
    '"\\b\\t\\n\\f\\r\\"\\\\"',
    '"\\u0000\\u001f"',
    '"\u007f\u0080\u2028"',
    '"\\\\ud800"',
    '"\\\\\\""',
    '"/"',
  ]
  it.each([...strings, '0', '-1', '9007199254740991', '""', '[]', '{}', '[[],{}]', '{"a":1,"aB":2}'])(
    'reads %s',
    (text) => {
      expect(parse(text)).toEqual(JSON.parse(text))
    },
  )

  const refused: Record<string, string> = {
    nothing: '',
    'a space before': ' 1',
    'a space behind': '1 ',
    'a space between': '{"a": 1}',
    'a newline behind': '1\n',
    'two values': '1"a"',
    'a byte order mark': '\ufeff1',
    'minus zero': '-0',
    'a leading zero': '01',
    'a plus sign': '+1',
    'a whole number as a fraction': '1.0',
    'an exponent': '1e3',
    'more digits than a number holds': '9007199254740993',
    'an open string': '"a',
    'an escape that needs none': '"\\u0061"',
    'a slash escaped': '"\\/"',
    'an escape in capitals': '"\\u001F"',
    'a long escape where a short one is': '"\\u000a"',
    'a raw newline in a string': '"a\nb"',
    'half a surrogate pair escaped': '"\\ud800"',
    'half a surrogate pair deep inside': '[{"a":["x\\udfff"]}]',
    'a pair escaped': '"\\ud83d\\ude00"',
    'a comma at the end': '[1,]',
    'an open list': '[1',
    'a doubled key': '{"a":1,"a":1}',
    'a doubled key with another value': '{"a":1,"a":2}',
    'a key without quotes': '{a:1}',
    'a key with an escape': '{"\\u0061":1}',
  }
  it.each(Object.entries(refused))('refuses %s', (_, text) => {
    expect(() => parse(text)).toThrow(notCanonical)
  })

  it('refuses bytes that are not UTF-8, overlong and surrogate forms among them', () => {
    for (const hex of ['22ff22', '22c3', '22c08022', '22eda08022']) {
      expect(() => parseLine(Buffer.from(hex, 'hex'))).toThrow(notCanonical)
    }
  })

  it('outlives deep nesting', () => {
    const depth = 1_000_000
    const shallow = 1_000
    expect(() => parse('['.repeat(depth) + ']'.repeat(depth))).toThrow(notCanonical)
    expect(() => shapeEntry(parse('['.repeat(shallow) + ']'.repeat(shallow)))).toThrow(
      expect.objectContaining({ code: 'shape' }),
    )
  })

  it('says where the difference begins', () => {
    expect(() => parse('{"a":1,"b":1.50}')).toThrow('character 14')
  })
})
