import { createRequire } from 'node:module'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { anyDraft } from '../../../tests/fixtures/entry-arbitraries.ts'
import { parseLine } from './parse-line.ts'

const canonicalize = createRequire(import.meta.url)('canonicalize') as (value: unknown) => string
const parse = (text: string) => parseLine(Buffer.from(text))

describe('the line reader', () => {
  it('gives what a general JSON parser gives, for every canonical text', () => {
    fc.assert(
      fc.property(anyDraft, (draft) => {
        const text = canonicalize(draft)
        expect(parse(text)).toEqual(JSON.parse(text))
      }),
      { numRuns: 2_000 },
    )
  })

  it('refuses whatever the general canonical form writes otherwise', () => {
    const pieces = fc.constantFrom(
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
    fc.assert(
      fc.property(anyDraft, pieces, fc.nat(), fc.nat(2), (draft, piece, at, cut) => {
        const text = canonicalize(draft)
        const offset = at % text.length
        // Cutting may leave half a character, which as bytes is the replacement character.
        const changed = Buffer.from(text.slice(0, offset) + piece + text.slice(offset + cut)).toString()
        let read: unknown
        try {
          read = parse(changed)
        } catch {
          return
        }
        expect(canonicalize(read)).toBe(changed)
      }),
      { numRuns: 5_000 },
    )
  })

  it.each(['0', '-1', '9007199254740991', '-9007199254740991', '""', '[]', '{}', '[[],{}]', '{"a":1,"aB":2,"b":3}'])(
    'reads %s',
    (text) => {
      expect(parse(text)).toEqual(JSON.parse(text))
    },
  )

  it.each([
    '"é€😀"',
    '"\\b\\t\\n\\f\\r\\"\\\\"',
    '"\\u0000\\u001f"',
    '"\u007f\u0080\u2028"',
    '"\\\\"',
    '"\\\\\\""',
    '"/"',
  ])('reads the string %s', (text) => {
    expect(parse(text)).toBe(JSON.parse(text))
  })

  const refused: Record<string, string> = {
    nothing: '',
    'a space before': ' 1',
    'a space behind': '1 ',
    'a newline behind': '1\n',
    'two values': '1"a"',
    'a byte order mark': '\ufeff1',
    'minus zero': '-0',
    'a leading zero': '01',
    'a plus sign': '+1',
    'a fraction': '1.5',
    'a whole number as a fraction': '1.0',
    'an exponent': '1e3',
    'a number beyond the safe ones': '9007199254740992',
    'a very long number': '1'.repeat(30),
    true: 'true',
    null: 'null',
    'an open string': '"a',
    'a string that ends in an escape': '"a\\"',
    'an escape that needs none': '"\\u0061"',
    'a slash escaped': '"\\/"',
    'an escape in capitals': '"\\u001F"',
    'a long escape where a short one is': '"\\u000a"',
    'an unknown escape': '"\\x"',
    'a raw newline in a string': '"a\nb"',
    'a lone surrogate escaped': '"\\ud800"',
    'a pair escaped': '"\\ud83d\\ude00"',
    'a comma at the end of a list': '[1,]',
    'a comma at the end of an object': '{"a":1,}',
    'an open list': '[1',
    'an open object': '{"a":1',
    'keys that fall': '{"b":1,"a":2}',
    'a doubled key': '{"a":1,"a":1}',
    'a key without quotes': '{a:1}',
    'a key with an escape': '{"\\u0061":1}',
    'the key __proto__': '{"__proto__":1}',
    'an empty key': '{"":1}',
    'a key without a value': '{"a"}',
    'a missing colon': '{"a"1}',
  }
  it.each(Object.entries(refused))('refuses %s', (_, text) => {
    expect(() => parse(text)).toThrow(expect.objectContaining({ code: 'not-canonical' }))
  })

  it('refuses bytes that are not UTF-8, overlong and surrogate forms among them', () => {
    for (const hex of ['22ff22', '22c3', '22c08022', '22eda08022']) {
      expect(() => parseLine(Buffer.from(hex, 'hex'))).toThrow(expect.objectContaining({ code: 'not-canonical' }))
    }
  })

  it('refuses deep nesting before it can fill the stack', () => {
    for (const text of ['['.repeat(1_000_000), '{"a":'.repeat(1_000_000)]) {
      expect(() => parse(text)).toThrow('levels')
    }
  })

  it('says where it stopped', () => {
    expect(() => parse('{"a":1,"b":1.5}')).toThrow('"," or "}" expected at character 12, found ".5}"')
  })
})
