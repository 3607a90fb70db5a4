// Text made harmless and broken into lines that fit.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { plainText, wrapText } from './text.ts'

const measure = (text: string): number => [...text].length
const wrap = (text: string, widthPt: number, linesMax = 100) => wrapText(text, { widthPt, measure, linesMax })

describe('plain text', () => {
  it('shows what reorders, hides or controls, and what the font lacks, as code points', () => {
    const latin = (codePoint: number): boolean => codePoint < 0x250
    expect(plainText('a\u202eb\u200bc\u0007d', latin)).toBe('a\\u{202E}b\\u{200B}c\\u{7}d')
    expect(plainText('x中\u{e0041}', latin)).toBe('x\\u{4E2D}\\u{E0041}')
    expect(plainText('two\r\nlines\tand more', latin)).toBe('two lines and more')
  })
})

describe('lines', () => {
  it('break behind spaces and behind the signs that part codes', () => {
    expect(wrap('laid on every lane', 8)).toEqual(['laid on', 'every', 'lane'])
    expect(wrap('QG2608/PLUM-EN/02/000001', 14)).toEqual(['QG2608/PLUM-', 'EN/02/000001'])
  })

  it('break a word that is wider than the line, never before a combining mark', () => {
    expect(wrap('abcdefgh', 3)).toEqual(['abc', 'def', 'gh'])
    expect(wrap('e\u0301e\u0301e\u0301', 4)).toEqual(['e\u0301e\u0301', 'e\u0301'])
  })

  it('end with an ellipsis where there are too many', () => {
    expect(wrap('one two three four five', 5, 2)).toEqual(['one', 'two…'])
  })

  it('fit their width and lose nothing, whatever the text', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme' }), fc.integer({ min: 8, max: 40 }), (given, widthPt) => {
        const text = plainText(given, (codePoint) => codePoint < 0x250)
        const lines = wrap(text, widthPt, 10_000)
        for (const line of lines) expect(measure(line)).toBeLessThanOrEqual(widthPt)
        const bare = (some: string): string => some.replaceAll(/\s+/g, '')
        expect(bare(lines.join(''))).toBe(bare(text))
      }),
    )
  })
})
