// The hash of codes: HalfSipHash with one round a word and three at the end (Aumasson, Bernstein 2012; reduced rounds as SipHash-1-3),
// over the words of a code and its length. Keyed, so that codes made to collide under one key are spread by the next: a builder that
// finds a bucket overfull takes it.

/** `hashed[0]` places a code (its top bits choose the bucket), `hashed[1]` tells codes of one bucket apart. */
export const hashed = new Uint32Array(2)

/** Keys that a builder may try. */
export const hashKeysMax = 4

// Fixed, so that equal tables give equal files; any numbers would do. These are the first words of SHA-512's initial state.
const keys = new Uint32Array([
  0x6a09e667, 0xf3bcc908, 0xbb67ae85, 0x84caa73b, 0x3c6ef372, 0xfe94f82b, 0xa54ff53a, 0x5f1d36f1,
])

export interface HashKey {
  readonly low: number
  readonly high: number
}

/** The key of an attempt from 0. */
export const hashKeyOf = (attempt: number): HashKey => ({
  low: keys[2 * attempt] ?? 0,
  high: keys[2 * attempt + 1] ?? 0,
})

/** Hashes `count` words from `from` on, that hold `byteLength` bytes, into `hashed`. */
export function hashWords(
  words: Uint32Array,
  { from, count, byteLength }: { from: number; count: number; byteLength: number },
  { low, high }: HashKey,
): void {
  let v0 = low | 0
  let v1 = high | 0
  let v2 = low ^ 0x6c796765
  let v3 = high ^ 0x74656462
  // The words, the length, three rounds without a word.
  for (let i = 0; i < count + 4; i++) {
    const word = i < count ? (words[from + i] as number) : i === count ? byteLength : 0
    if (i === count + 1) v2 ^= 0xff
    v3 ^= word
    v0 = (v0 + v1) | 0
    v1 = ((v1 << 5) | (v1 >>> 27)) ^ v0
    v0 = (v0 << 16) | (v0 >>> 16)
    v2 = (v2 + v3) | 0
    v3 = ((v3 << 8) | (v3 >>> 24)) ^ v2
    v0 = (v0 + v3) | 0
    v3 = ((v3 << 7) | (v3 >>> 25)) ^ v0
    v2 = (v2 + v1) | 0
    v1 = ((v1 << 13) | (v1 >>> 19)) ^ v2
    v2 = (v2 << 16) | (v2 >>> 16)
    v0 ^= word
  }
  hashed[0] = v1 ^ v3
  hashed[1] = v0 ^ v2
}
