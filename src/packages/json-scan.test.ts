// Depth and duplicate names in JSON text.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { pointerOf, scanJson } from './json-scan.ts'

const bounds = { depthMax: 32, duplicatesMax: 100 }
const duplicatesOf = (text: string): readonly string[] => scanJson(text, bounds).duplicates

describe('scanning JSON', () => {
  it('finds names that stand twice in one object, wherever it lies', () => {
    expect(duplicatesOf('{"a":1,"b":[{"c":1},{"c":1,"d":{},"c":2}],"a":3}')).toEqual(['/b/1/c', '/a'])
  })

  it('knows a name by its meaning, not its spelling', () => {
    expect(duplicatesOf('{"a/b":1,"\\u0061/b":2}')).toEqual(['/a~1b'])
  })

  it('takes names of several objects, values and text in strings for no duplicates', () => {
    expect(duplicatesOf('[{"a":"a"},{"a":"{\\"a\\":1,\\"a\\":2}"},"\\\\",{"a":["a","a"]}]')).toEqual([])
  })

  it('measures depth and stops just beyond the limit', () => {
    expect(scanJson('[[{"a":[]}]]', bounds).depth).toBe(4)
    expect(scanJson('['.repeat(1_000_000), bounds).depth).toBe(33)
  })

  it('never throws, whatever the text', () => {
    fc.assert(
      fc.property(
        fc.oneof(fc.string(), fc.string({ unit: fc.constantFrom('{', '}', '[', ']', '"', '\\', ',', ':', 'a') })),
        (text) => {
          scanJson(text, bounds)
        },
      ),
    )
  })

  it('finds none in what JSON.stringify writes', () => {
    fc.assert(
      fc.property(fc.json(), (text) => {
        expect(duplicatesOf(JSON.stringify(JSON.parse(text)))).toEqual([])
      }),
    )
  })
})

describe('a pointer', () => {
  it('escapes ~ and /, and is empty for the whole document (RFC 6901 §3 and §5)', () => {
    expect(pointerOf(['a/b', 'm~n', 0])).toBe('/a~1b/m~0n/0')
    expect(pointerOf([])).toBe('')
  })

  it('cut names of absurd length, so that thousands of findings cost no more than they say', () => {
    expect(pointerOf(['x'.repeat(1_000_000), 'y'])).toBe(`/${'x'.repeat(130)}…/y`)
  })
})
