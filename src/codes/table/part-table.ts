// One part of the spill in memory: its rows brought into the order of the index, and those there twice found.
import { unpackText, wordsOf } from './code-words.ts'
import { bucketOf, headBytes, headFits, headValueWords } from './index-format.ts'
import { rowCell } from './row-values.ts'
import type { Piece } from './spill.ts'
import { spilledBefore } from './spill-rows.ts'
import { excerpt, type TableFindings } from './table-findings.ts'

export interface PartTable {
  readonly words: Uint32Array
  /** Takes up a part. False where its rows, each counted once, are more than there is room for. */
  load(pieces: readonly Piece[], range: BucketRange): boolean
  /** Place of each row in order: by bucket, hash, code, cell. */
  readonly order: Uint32Array
  /** Where the rows of each bucket of the range begin in `order`; one more at the end. */
  readonly bucketStarts: Uint32Array
}

export interface BucketRange {
  /** Buckets of the whole index. */
  readonly buckets: number
  readonly first: number
  readonly count: number
}

const dropped = 0
/** Buckets with more rows, which hold equal codes, are not sorted by insertion. */
const insertionMax = 32
/** Putting rows together must win this share of the room at least. */
const roomShare = 16

export const rowSize = (words: Uint32Array, at: number): number => {
  const head = words[at + 1] as number
  return spilledBefore + wordsOf(headBytes(head)) + headValueWords(head)
}

const cellAt = (words: Uint32Array, at: number): number =>
  rowCell(words[at + spilledBefore + wordsOf(headBytes(words[at + 1] as number))] as number)

/** The order of two rows by hash and code: 0 where these are equal. */
export function compareCodes(words: Uint32Array, a: number, b: number): number {
  const byHash = (words[a] as number) - (words[b] as number)
  if (byHash !== 0) return byHash
  const head = (words[a + 1] as number) & headFits
  const byHead = head - ((words[b + 1] as number) & headFits)
  if (byHead !== 0) return byHead
  const end = spilledBefore + wordsOf(headBytes(head))
  for (let i = spilledBefore; i < end; i++) {
    const byWord = (words[a + i] as number) - (words[b + i] as number)
    if (byWord !== 0) return byWord
  }
  return 0
}

const compareRows = (words: Uint32Array, a: number, b: number): number =>
  compareCodes(words, a, b) ||
  cellAt(words, a) - cellAt(words, b) ||
  (words[a + 2] as number) - (words[b + 2] as number)

function sortBucket(words: Uint32Array, order: Uint32Array, { from, to }: { from: number; to: number }): void {
  if (to - from > insertionMax) {
    order.subarray(from, to).sort((a, b) => compareRows(words, a, b))
    return
  }
  for (let i = from + 1; i < to; i++) {
    const row = order[i] as number
    let j = i - 1
    while (j >= from && compareRows(words, order[j] as number, row) > 0) {
      order[j + 1] = order[j] as number
      j--
    }
    order[j + 1] = row
  }
}

/** `wordsMax` is the room for rows. */
export function openPartTable(
  findings: TableFindings,
  { wordsMax, hasCells }: { readonly wordsMax: number; readonly hasCells: boolean },
): PartTable {
  const words = new Uint32Array(wordsMax)
  let used = 0
  let order = new Uint32Array(0)
  let bucketStarts = new Uint32Array(0)

  /** Brings the rows into order; rows that are there already are noted and dropped. */
  const settle = (range: BucketRange): void => {
    bucketStarts = new Uint32Array(range.count + 1)
    const bucketAt = (at: number): number => bucketOf(words[at] as number, range.buckets) - range.first
    let rows = 0
    for (let at = 0; at < used; at += rowSize(words, at)) {
      rows++
      const next = bucketAt(at) + 1
      bucketStarts[next] = (bucketStarts[next] as number) + 1
    }
    for (let i = 0; i < range.count; i++)
      bucketStarts[i + 1] = (bucketStarts[i + 1] as number) + (bucketStarts[i] as number)
    order = new Uint32Array(rows)
    const fill = bucketStarts.slice()
    for (let at = 0; at < used; at += rowSize(words, at)) {
      const bucket = bucketAt(at)
      const place = fill[bucket] as number
      order[place] = at
      fill[bucket] = place + 1
    }
    dropRepeated(range.count)
  }

  /** Sorts each bucket and closes the gaps of rows that repeat the one before. */
  const dropRepeated = (count: number): void => {
    let kept = 0
    for (let bucket = 0; bucket < count; bucket++) {
      const from = bucketStarts[bucket] as number
      const to = bucketStarts[bucket + 1] as number
      bucketStarts[bucket] = kept
      if (to - from > 1) sortBucket(words, order, { from, to })
      let last = -1
      for (let i = from; i < to; i++) {
        const row = order[i] as number
        if (last >= 0 && compareCodes(words, last, row) === 0 && cellAt(words, last) === cellAt(words, row)) {
          noteRepeated(last, row)
          words[row + 2] = dropped
          continue
        }
        order[kept++] = row
        last = row
      }
    }
    bucketStarts[count] = kept
    order = order.subarray(0, kept)
  }

  const noteRepeated = (first: number, again: number): void => {
    const line = words[again + 2] as number
    findings.add('table-duplicate', line, () => {
      const byteLength = headBytes(words[first + 1] as number)
      const code = excerpt(unpackText(words, { word: first + spilledBefore, byteLength }))
      const cell = hasCells ? ` for cell ${cellAt(words, first) + 1}` : ''
      return { message: `the code “${code}” stands in row ${words[first + 2]}${cell} already`, measured: code }
    })
  }

  /** Moves the rows that were kept together; places in `order` are void then. */
  const compact = (): void => {
    let end = 0
    for (let at = 0; at < used; ) {
      const size = rowSize(words, at)
      if (words[at + 2] !== dropped) {
        words.copyWithin(end, at, at + size)
        end += size
      }
      at += size
    }
    used = end
  }

  return {
    words,
    get order() {
      return order
    },
    get bucketStarts() {
      return bucketStarts
    },
    load(pieces, range) {
      used = 0
      for (const piece of pieces) {
        if (used + piece.words > wordsMax) {
          // Far more rows than hashes share out evenly: equal ones, or codes made to fall together.
          settle(range)
          compact()
          if (used + piece.words > wordsMax - wordsMax / roomShare) return false
        }
        piece.read(words, used)
        used += piece.words
      }
      settle(range)
      return true
    },
  }
}
