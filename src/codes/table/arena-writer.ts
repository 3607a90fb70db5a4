// Second pass: writes the sorted parts, one after the other, as the arena and directory of the index.

import { Problem } from '../../kernel/problem.ts'
import { wordsOf } from './code-words.ts'
import {
  bucketCodesMax,
  headBytes,
  headerBytes,
  headIsLast,
  headOf,
  headValueWords,
  longValues,
} from './index-format.ts'
import { type BucketRange, compareCodes, type PartTable, rowSize } from './part-table.ts'
import { rowPair, withPair } from './row-values.ts'
import { writeWhole } from './spill.ts'
import { spilledBefore } from './spill-rows.ts'

export interface ArenaWriter {
  readonly codes: number
  readonly arenaWords: number
  /** Writes a part's buckets; false, with part of them written, where a bucket has more codes than chance gives. */
  write(part: PartTable, range: BucketRange): boolean
  /** Writes what is still in memory. */
  finish(): void
}

interface ArenaOptions {
  readonly file: number
  readonly buckets: number
  readonly chunkBits: number
  /** The number of each pair in the index, by its number in the spill. */
  readonly ranks: Uint32Array
  readonly hasCells: boolean
}

/** Rows of one code: places in the part's `order`. */
interface Rows {
  readonly from: number
  readonly to: number
}

const bufferWords = 1 << 20
/** The arena's first word is not used: 0 in the directory is an empty bucket. */
const firstWord = 1
const arenaWordsMax = 2 ** 32

export function openArenaWriter({ file, buckets, chunkBits, ranks, hasCells }: ArenaOptions): ArenaWriter {
  const arenaAt = headerBytes + 4 * buckets
  const chunkWords = 2 ** chunkBits
  let buffer = new Uint32Array(bufferWords)
  let filled = firstWord
  /** Words of the arena before the buffer. */
  let before = 0
  let codes = 0

  const flush = (): void => {
    writeWhole(file, buffer.subarray(0, filled), arenaAt + 4 * before)
    before += filled
    filled = 0
  }

  /** Room in the buffer for a bucket, in one chunk of the arena. A gap that this leaves reads as zeros. */
  const makeRoom = (count: number): void => {
    const inChunk = (before + filled) % chunkWords
    const crosses = inChunk + count > chunkWords
    if (crosses || filled + count > buffer.length) flush()
    if (crosses) before += chunkWords - inChunk
    if (count > buffer.length) buffer = new Uint32Array(count)
    if (before + filled + count > arenaWordsMax) throw tooLarge()
  }

  /** Words of the values of a code's rows. */
  const valuesOf = ({ words, order }: PartTable, { from, to }: Rows): number => {
    let count = 0
    for (let i = from; i < to; i++) count += headValueWords(words[(order[i] as number) + 1] as number)
    if (count > 1 || hasCells) return count
    const row = order[from] as number
    const first = words[row + spilledBefore + wordsOf(headBytes(words[row + 1] as number))] as number
    return ranks[rowPair(first)] === 0 ? 0 : count
  }

  const putHead = (part: PartTable, rows: Rows, isLast: boolean): void => {
    const head = part.words[(part.order[rows.from] as number) + 1] as number
    const valueWords = valuesOf(part, rows)
    buffer[filled++] = headOf({ byteLength: headBytes(head), mark: head >>> 8, valueWords }) | (isLast ? headIsLast : 0)
  }

  /** Copies a row's values, with the pair's new number. */
  const putValues = (words: Uint32Array, row: number, another: boolean): void => {
    const head = words[row + 1] as number
    const from = row + spilledBefore + wordsOf(headBytes(head))
    const to = from + headValueWords(head)
    buffer[filled++] = withPair(words[from] as number, ranks[rowPair(words[from] as number)] as number, another)
    for (let i = from + 1; i < to; i++) buffer[filled++] = words[i] as number
  }

  const putRecord = (part: PartTable, rows: Rows): void => {
    const { words, order } = part
    const start = (order[rows.from] as number) + spilledBefore
    const end = start + wordsOf(headBytes(words[start - spilledBefore + 1] as number))
    for (let i = start; i < end; i++) buffer[filled++] = words[i] as number
    const valueWords = valuesOf(part, rows)
    if (valueWords === 0) return
    if (valueWords >= longValues) buffer[filled++] = valueWords
    for (let i = rows.from; i < rows.to; i++) putValues(words, order[i] as number, i < rows.to - 1)
  }

  /** Writes a bucket's rows and returns where it begins; -1 where it has too many codes. */
  const putBucket = (part: PartTable, { from, to }: Rows): number => {
    const { words, order } = part
    const ends = codeEnds
    let size = 0
    let count = 0
    for (let i = from; i < to; i++) {
      size += rowSize(words, order[i] as number)
      const isEnd = i + 1 === to || compareCodes(words, order[i] as number, order[i + 1] as number) !== 0
      if (isEnd && count === bucketCodesMax) return -1
      if (isEnd) ends[count++] = i + 1
    }
    makeRoom(size)
    const start = before + filled
    for (let i = 0, first = from; i < count; first = ends[i++] as number) {
      putHead(part, { from: first, to: ends[i] as number }, i === count - 1)
    }
    for (let i = 0, first = from; i < count; first = ends[i++] as number) {
      putRecord(part, { from: first, to: ends[i] as number })
    }
    codes += count
    return start
  }

  return {
    get codes() {
      return codes
    },
    get arenaWords() {
      return before + filled
    },
    write(part, { first, count }) {
      const directory = new Uint32Array(count)
      for (let bucket = 0; bucket < count; bucket++) {
        const from = part.bucketStarts[bucket] as number
        const to = part.bucketStarts[bucket + 1] as number
        if (from === to) continue
        const start = putBucket(part, { from, to })
        if (start < 0) return false
        directory[bucket] = start
      }
      writeWhole(file, directory, headerBytes + 4 * first)
      return true
    },
    finish: flush,
  }
}

/** Where each code of the bucket in hand ends in `order`. */
const codeEnds = new Uint32Array(bucketCodesMax)

const tooLarge = (): Problem =>
  new Problem('package-too-large', 'the code table is larger than an index can be', { limit: 4 * arenaWordsMax })
