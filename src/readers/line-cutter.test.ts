// Lines out of a stream of bytes, however it is cut up.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { LineCutter } from './line-cutter.ts'

const texts = (cutter: LineCutter, ...chunks: readonly string[]): string[] =>
  chunks.flatMap((chunk) =>
    cutter.take(Buffer.from(chunk)).map((cut) => (cut.kind === 'line' ? Buffer.from(cut.bytes).toString() : cut.kind)),
  )

describe('cutting lines', () => {
  it('takes CR, LF and both as the end of a line where no delimiter is said, and leaves empty lines out', () => {
    expect(texts(new LineCutter({ bytesMax: 10 }), 'a\nb\rc\r\nd\n\n\re', '\n')).toEqual(['a', 'b', 'c', 'd', 'e'])
  })

  it('takes a delimiter of its own, also where it comes in two pieces, and keeps empty lines', () => {
    const cutter = new LineCutter({ delimiter: Buffer.from('\u0003\r'), bytesMax: 10 })
    expect(texts(cutter, 'a\u0003', '\rb\nc\u0003\r\u0003', '\r')).toEqual(['a', 'b\nc', ''])
    expect(cutter.unfinished).toBe(false)
  })

  it('keeps nothing of a line that is too long and goes on behind its end', () => {
    const cutter = new LineCutter({ bytesMax: 4 })
    expect(texts(cutter, 'x'.repeat(1_000), 'y'.repeat(1_000))).toEqual([])
    expect(cutter.unfinished).toBe(true)
    expect(texts(cutter, 'z\nabcd\nabcde\n')).toEqual(['too-long', 'abcd', 'too-long'])
  })

  it('gives the same lines however the bytes are cut up (property)', () => {
    const line = fc.string({ unit: fc.constantFrom('a', 'b', '\u0002', '\r'), maxLength: 12 })
    fc.assert(
      fc.property(fc.array(line, { maxLength: 8 }), fc.array(fc.nat(6), { maxLength: 40 }), (lines, sizes) => {
        const options = { delimiter: Buffer.from('\u0003\u0003'), bytesMax: 8 }
        const whole = lines.map((text) => `${text}\u0003\u0003`).join('')
        const pieces: string[] = []
        let rest = whole
        for (const size of sizes) {
          pieces.push(rest.slice(0, size))
          rest = rest.slice(size)
        }
        const cut = texts(new LineCutter(options), ...pieces, rest)
        expect(cut).toEqual(texts(new LineCutter(options), whole))
        expect(cut).toEqual(lines.map((text) => (text.length > 8 ? 'too-long' : text)))
      }),
      { verbose: 1 },
    )
  })
})
