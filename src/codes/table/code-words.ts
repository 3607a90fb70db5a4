// A code as 32-bit words: its UTF-8 bytes, little-endian, the last word filled up with zeros. Codes are hashed and compared so, four
// bytes at a time, in one scratch space that is used again for each code.
import { limits } from '../../kernel/limits.ts'

/** Room for a code, and for a design with a print version. */
export const scratchWords = 256

/** The words of the code packed last. */
export const packed = new Uint32Array(scratchWords)
const packedBytes = new Uint8Array(packed.buffer)

const textBytesMax: number = limits.codeBytesMax

export const wordsOf = (byteLength: number): number => (byteLength + 3) >> 2

/**
 * Packs a text, and returns how many bytes it has in UTF-8: 0 where no table can hold it, since it is empty, longer than
 * `limits.codeBytesMax` bytes, or has a surrogate without its partner. Allocates nothing.
 */
export function packText(text: string): number {
  const length = text.length
  if (length > textBytesMax) return 0
  const whole = length & ~3
  let seen = 0
  let word = 0
  for (let i = 0; i < whole; i += 4) {
    const a = text.charCodeAt(i)
    const b = text.charCodeAt(i + 1)
    const c = text.charCodeAt(i + 2)
    const d = text.charCodeAt(i + 3)
    seen |= a | b | c | d
    packed[word++] = a | (b << 8) | (c << 16) | (d << 24)
  }
  if (whole < length) {
    let last = 0
    for (let i = whole; i < length; i++) {
      const unit = text.charCodeAt(i)
      seen |= unit
      last |= unit << (8 * (i - whole))
    }
    packed[word] = last
  }
  return seen < 0x80 ? length : packWide(text)
}

/** Packs a text with characters beyond ASCII. */
function packWide(text: string): number {
  let at = 0
  for (let i = 0; i < text.length; i++) {
    if (at > textBytesMax) return 0
    let point = text.charCodeAt(i)
    if (point >= 0xd800 && point <= 0xdfff) {
      const low = text.charCodeAt(i + 1)
      if (point >= 0xdc00 || !(low >= 0xdc00 && low <= 0xdfff)) return 0
      point = 0x10000 + ((point - 0xd800) << 10) + low - 0xdc00
      i++
    }
    if (point < 0x80) packedBytes[at++] = point
    else {
      if (point < 0x800) packedBytes[at++] = 0xc0 | (point >> 6)
      else {
        if (point < 0x10000) packedBytes[at++] = 0xe0 | (point >> 12)
        else {
          packedBytes[at++] = 0xf0 | (point >> 18)
          packedBytes[at++] = 0x80 | ((point >> 12) & 0x3f)
        }
        packedBytes[at++] = 0x80 | ((point >> 6) & 0x3f)
      }
      packedBytes[at++] = 0x80 | (point & 0x3f)
    }
  }
  if (at > textBytesMax) return 0
  packedBytes.fill(0, at, (at + 3) & ~3)
  return at
}

/** Packs bytes from word `word` on; what stood behind them in the last word is zero then. */
export function packBytes(
  bytes: Uint8Array,
  { from, to, word = 0 }: { from: number; to: number; word?: number },
): void {
  const whole = from + ((to - from) & ~3)
  let into = word
  let at = from
  for (; at < whole; at += 4) {
    packed[into++] =
      (bytes[at] as number) |
      ((bytes[at + 1] as number) << 8) |
      ((bytes[at + 2] as number) << 16) |
      ((bytes[at + 3] as number) << 24)
  }
  if (at < to) {
    let last = 0
    for (let i = 0; at + i < to; i++) last |= (bytes[at + i] as number) << (8 * i)
    packed[into] = last
  }
}

/** The text of bytes packed into words, wherever these lie. Throws nothing: what is no UTF-8 is replaced. */
export function unpackText(words: Uint32Array, { word, byteLength }: { word: number; byteLength: number }): string {
  return Buffer.from(words.buffer, words.byteOffset + 4 * word, byteLength).toString('utf8')
}
