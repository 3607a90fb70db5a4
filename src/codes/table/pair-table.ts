// The pairs of design and print version of a table, numbered as they come, without making texts of those known already.
import { limits } from '../../kernel/limits.ts'
import { hashed, hashKeyOf, hashWords } from './code-hash.ts'
import { packBytes, packed, scratchWords, unpackText, wordsOf } from './code-words.ts'
import { pairsMax } from './index-format.ts'

export interface DesignPair {
  readonly design: string
  readonly print?: string
  /** Rows of the table. */
  readonly rows: number
}

export interface PairPlaces {
  readonly from: number
  readonly to: number
  /** Both 0 where the table has no print versions. */
  readonly printFrom: number
  readonly printTo: number
}

export interface PairTable {
  /** Counts a row, and returns the number of its pair, from 0; -1 where there are too many designs or pairs. */
  number(bytes: Buffer, places: PairPlaces): number
  /** By number. */
  pairs(): readonly DesignPair[]
}

const key = hashKeyOf(0)
const lengthBits = 10

export function openPairTable(): PairTable {
  // A pair in the arena: its lengths, then its words.
  let arena = new Uint32Array(4 * scratchWords)
  let used = 0
  let slots = new Int32Array(256).fill(-1)
  const starts: number[] = []
  const counts: number[] = []
  const designs = new Set<string>()
  const lengthsAt = (pair: number): number => arena[starts[pair] as number] as number
  const textsAt = (pair: number): { design: string; print?: string } => {
    const word = (starts[pair] as number) + 1
    const byteLength = lengthsAt(pair) & ((1 << lengthBits) - 1)
    const printLength = lengthsAt(pair) >>> lengthBits
    const design = unpackText(arena, { word, byteLength })
    if (printLength === 0) return { design }
    return { design, print: unpackText(arena, { word: word + wordsOf(byteLength), byteLength: printLength }) }
  }
  const isPair = (pair: number, lengths: number, words: number): boolean => {
    const start = starts[pair] as number
    if (arena[start] !== lengths) return false
    for (let i = 0; i < words; i++) if (arena[start + 1 + i] !== packed[i]) return false
    return true
  }
  const grow = (): void => {
    slots = new Int32Array(slots.length * 2).fill(-1)
    for (const [pair, start] of starts.entries()) {
      const lengths = lengthsAt(pair)
      const count = wordsOf(lengths & ((1 << lengthBits) - 1)) + wordsOf(lengths >>> lengthBits)
      hashWords(arena, { from: start + 1, count, byteLength: lengths }, key)
      let slot = (hashed[0] as number) & (slots.length - 1)
      while (slots[slot] !== -1) slot = (slot + 1) & (slots.length - 1)
      slots[slot] = pair
    }
  }
  const add = (lengths: number, words: number): number => {
    const pair = starts.length
    if (pair >= pairsMax) return -1
    if (used + 1 + words > arena.length) {
      const larger = new Uint32Array(arena.length * 2)
      larger.set(arena)
      arena = larger
    }
    arena[used] = lengths
    arena.set(packed.subarray(0, words), used + 1)
    starts.push(used)
    const { design } = textsAt(pair)
    if (!designs.has(design) && designs.size >= limits.designsMax) {
      starts.pop()
      return -1
    }
    designs.add(design)
    used += 1 + words
    counts.push(0)
    return pair
  }
  return {
    number(bytes, { from, to, printFrom, printTo }) {
      const designWords = wordsOf(to - from)
      packBytes(bytes, { from, to })
      packBytes(bytes, { from: printFrom, to: printTo, word: designWords })
      const words = designWords + wordsOf(printTo - printFrom)
      const lengths = (to - from) | ((printTo - printFrom) << lengthBits)
      hashWords(packed, { from: 0, count: words, byteLength: lengths }, key)
      let slot = (hashed[0] as number) & (slots.length - 1)
      let pair = slots[slot] as number
      while (pair >= 0 && !isPair(pair, lengths, words)) {
        slot = (slot + 1) & (slots.length - 1)
        pair = slots[slot] as number
      }
      if (pair < 0) {
        pair = add(lengths, words)
        if (pair < 0) return -1
        slots[slot] = pair
        if (starts.length * 2 > slots.length) grow()
      }
      counts[pair] = (counts[pair] as number) + 1
      return pair
    },
    pairs: () => starts.map((_, pair) => ({ ...textsAt(pair), rows: counts[pair] as number })),
  }
}
