// The hash of codes shares them out evenly, and differs with every bit, the length and the key.
import { describe, expect, it } from 'vitest'
import { hashed, hashKeyOf, hashKeysMax, hashWords } from './code-hash.ts'
import { packBytes, packed, packText, wordsOf } from './code-words.ts'

function hashOf(text: string, attempt = 0): { place: number; mark: number } {
  const byteLength = packText(text)
  hashWords(packed, { from: 0, count: wordsOf(byteLength), byteLength }, hashKeyOf(attempt))
  return { place: hashed[0]!, mark: hashed[1]! }
}

const bitsSet = (word: number): number => word.toString(2).replaceAll('0', '').length

describe('the hash of codes', () => {
  it('is that of the same bytes, as text or as bytes anywhere', () => {
    for (const text of ['A', 'ABCD', 'ABCDE', 'Ä-木-𝌆', 'x'.repeat(200)]) {
      const { place, mark } = hashOf(text)
      const bytes = Buffer.from(`--${text}--`)
      packed.fill(0xffffffff)
      packBytes(bytes, { from: 2, to: bytes.length - 2 })
      const byteLength = bytes.length - 4
      hashWords(packed, { from: 0, count: wordsOf(byteLength), byteLength }, hashKeyOf(0))
      expect([hashed[0], hashed[1]]).toEqual([place, mark])
    }
  })

  it('turns half of its bits with any bit of the code', () => {
    const text = 'QG2608/PLUM-DE/02/000017'
    const { place, mark } = hashOf(text)
    for (let i = 0; i < text.length; i++) {
      for (let bit = 0; bit < 7; bit++) {
        const other = text.slice(0, i) + String.fromCharCode(text.charCodeAt(i) ^ (1 << bit)) + text.slice(i + 1)
        const now = hashOf(other)
        const turned = bitsSet((now.place ^ place) >>> 0) + bitsSet((now.mark ^ mark) >>> 0)
        // Of 64 bits: 32 on average, standard deviation 4.
        expect(turned, `bit ${bit} of letter ${i}`).toBeGreaterThan(12)
        expect(turned, `bit ${bit} of letter ${i}`).toBeLessThan(52)
      }
    }
  })

  it('shares running numbers out as chance would', () => {
    const places = 1_024
    const count = 200_000
    const shares = new Uint32Array(places)
    for (let i = 0; i < count; i++) shares[hashOf(`QG2608/${String(i).padStart(9, '0')}`).place >>> 22]!++
    const mean = count / places
    const chiSquare = shares.reduce((sum, share) => sum + (share - mean) ** 2 / mean, 0)
    // 1,023 degrees of freedom: standard deviation 45.
    expect(Math.abs(chiSquare - (places - 1))).toBeLessThan(6 * 45)
  })

  it('differs with the key, and with zeros at the end', () => {
    const all = Array.from({ length: hashKeysMax }, (_, attempt) => hashOf('A', attempt).place)
    expect(new Set(all).size).toBe(hashKeysMax)
    expect(hashOf('A').place).not.toBe(hashOf('A\0').place)
  })
})
