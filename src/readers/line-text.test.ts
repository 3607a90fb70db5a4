// What lines of readers say: codes, no-reads, garbage.
import { describe, expect, it } from 'vitest'
import { type LineForm, readLine } from './line-text.ts'

const form = (change: Partial<LineForm> = {}): LineForm => ({ encoding: 'utf8', ...change })
const code = (text: string) => ({ kind: 'code', text })
const garbage = { kind: 'garbage' }

describe('a line of a reader', () => {
  it('is a code as it stands, group separators and all', () => {
    expect(readLine(Buffer.from('01095\u001d21A'), form())).toEqual(code('01095\u001d21A'))
  })

  it('loses prefix and suffix, and is garbage without them', () => {
    const framed = form({ prefix: '\u0002', suffix: '!' })
    expect(readLine(Buffer.from('\u0002J/1!'), framed)).toEqual(code('J/1'))
    for (const text of ['J/1!', '\u0002J/1', '\u0002', '!', ''])
      expect(readLine(Buffer.from(text), framed)).toEqual(garbage)
  })

  it('is a no-read where it has the text for that, an empty one too', () => {
    expect(readLine(Buffer.from('NOREAD'), form({ noRead: 'NOREAD' }))).toEqual({ kind: 'no-read' })
    expect(readLine(Buffer.from('<>'), form({ noRead: '', prefix: '<', suffix: '>' }))).toEqual({ kind: 'no-read' })
    expect(readLine(Buffer.from(''), form())).toEqual(garbage)
  })

  it('is read in the encoding that is configured: bytes that are no UTF-8 are garbage, never another text', () => {
    const bytes = Buffer.from([0x4a, 0xe9])
    expect(readLine(bytes, form())).toEqual(garbage)
    expect(readLine(bytes, form({ encoding: 'latin1' }))).toEqual(code('Jé'))
    expect(readLine(Buffer.from('Jé'), form())).toEqual(code('Jé'))
    expect(readLine(Buffer.from('\ufeffJ'), form())).toEqual(code('\ufeffJ'))
  })

  it('is garbage with a zero byte, or longer than a code can be', () => {
    expect(readLine(Buffer.from('a\0b'), form())).toEqual(garbage)
    expect(readLine(Buffer.from('x'.repeat(801)), form())).toEqual(garbage)
    expect(readLine(Buffer.from('x'.repeat(800)), form()).kind).toBe('code')
  })
})
