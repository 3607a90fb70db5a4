// Lookups in a code index whose sections lie in shared memory. A code is found by its bytes, compared to the last one: what is not in
// the table is never found.
import { assert } from '../../kernel/assert.ts'
import type { Digest } from '../../kernel/bytes.ts'
import { hashed, hashKeyOf, hashWords } from './code-hash.ts'
import { packed, packText, wordsOf } from './code-words.ts'
import { type DesignCount, designCounts } from './dictionary.ts'
import {
  bucketCodesMax,
  bucketOf,
  type Carries,
  headBytes,
  headFits,
  headIsLast,
  headOf,
  headValueWords,
  type IndexHeader,
  longValues,
} from './index-format.ts'
import type { DesignPair } from './pair-table.ts'
import { rowCell, rowGoesOn, rowKind, rowPair, rowWords, serialOf } from './row-values.ts'

/** What a table says of a code; print version, serial and cell are there where the table has the column. */
export interface CodeEntry {
  readonly design: string
  readonly print?: string
  readonly serial?: string
  readonly cell?: number
}

export interface CodeIndex {
  /** SHA-256 of the index file. */
  readonly digest: Digest
  readonly rows: number
  /** Different codes. */
  readonly codes: number
  /** Shared memory that it takes. */
  readonly bytes: number
  readonly carries: Carries
  readonly designs: readonly DesignCount[]
  /**
   * The row of a code. Where the table has cells: the code's row for `cell`, or, without one asked for, that of its lowest cell.
   * Where it has none, `cell` doesn't matter.
   */
  find(text: string, cell?: number): CodeEntry | undefined
  /** Whether some row has the code. */
  has(text: string): boolean
  /** A handle that can be posted to worker threads, to be opened there with `fromShared` over the same memory. */
  share(): SharedCodeIndex
  /** Lets go of the memory; it is free once no thread holds it. Lookups fail from then on. */
  close(): void
}

/** Sections of an index in shared memory; a structured clone shares them. */
export interface SharedCodeIndex {
  readonly digest: Digest
  readonly header: IndexHeader
  readonly pairs: readonly DesignPair[]
  readonly directory: SharedArrayBuffer
  readonly chunks: readonly SharedArrayBuffer[]
}

/** Opens an index over shared memory, in whatever thread. */
export function fromShared(shared: SharedCodeIndex): CodeIndex {
  const { digest, header, pairs } = shared
  const { rows, codes, carries } = header
  let lookup: Lookup | undefined = openLookup(shared)
  let held: SharedCodeIndex | undefined = shared
  const bytes = shared.directory.byteLength + shared.chunks.reduce((sum, chunk) => sum + chunk.byteLength, 0)
  return {
    digest,
    rows,
    codes,
    bytes,
    carries,
    designs: designCounts(pairs),
    find(text, cell) {
      assert(lookup, 'the code index is open')
      return lookup.find(text, cell)
    },
    has(text) {
      assert(lookup, 'the code index is open')
      return lookup.has(text)
    },
    share() {
      assert(held, 'the code index is open')
      return held
    },
    close() {
      lookup = undefined
      held = undefined
    },
  }
}

type Lookup = Pick<CodeIndex, 'find' | 'has'>

const none = -1

function openLookup(shared: SharedCodeIndex): Lookup {
  const { buckets, attempt, chunkBits, carries } = shared.header
  const directory = new Uint32Array(shared.directory)
  const chunks = shared.chunks.map((chunk) => new Uint32Array(chunk))
  const chunkMask = 2 ** chunkBits - 1
  const key = hashKeyOf(attempt)
  const hasCells = carries.cell
  /** Entries of rows that say no more than the pair: one object each, for all. */
  const plain = shared.pairs.map(
    ({ design, print }): CodeEntry => Object.freeze(print === undefined ? { design } : { design, print }),
  )
  // Of the code found last.
  let chunk: Uint32Array = new Uint32Array(0)
  let valueWords = 0

  /** Whether the packed code stands at `at` of the chunk. */
  const stands = (at: number, count: number): boolean => {
    for (let i = 0; i < count; i++) if (chunk[at + i] !== packed[i]) return false
    return true
  }

  /** Where a code's values begin in `chunk`; `none` where the table doesn't have it. */
  const locate = (text: string): number => {
    const byteLength = packText(text)
    if (byteLength === 0) return none
    const count = wordsOf(byteLength)
    hashWords(packed, { from: 0, count, byteLength }, key)
    const start = directory[bucketOf(hashed[0] as number, buckets)] as number
    if (start === 0) return none
    chunk = chunks[start >>> chunkBits] as Uint32Array
    const heads = start & chunkMask
    const wanted = headOf({ byteLength, mark: hashed[1] as number, valueWords: 0 })
    let end = heads
    let near = false
    for (let head = 0; end < heads + bucketCodesMax && (head & headIsLast) === 0; end++) {
      head = chunk[end] as number
      if (((head ^ wanted) & headFits) === 0) near = true
    }
    if (!near) return none
    for (let i = heads, at = end; i < end; i++) {
      const head = chunk[i] as number
      const values = at + wordsOf(headBytes(head))
      const isLong = headValueWords(head) === longValues
      valueWords = isLong ? (chunk[values] as number) : headValueWords(head)
      const from = isLong ? values + 1 : values
      if (((head ^ wanted) & headFits) === 0 && stands(at, count)) return from
      at = from + valueWords
    }
    return none
  }

  const entryAt = (at: number): CodeEntry => {
    const row = chunk[at] as number
    const pair = plain[rowPair(row)] as CodeEntry
    if (rowKind(row) === 0) return hasCells ? { ...pair, cell: rowCell(row) + 1 } : pair
    const serial = serialOf(chunk, at)
    const { design, print } = pair
    if (hasCells) return { ...pair, serial, cell: rowCell(row) + 1 }
    return print === undefined ? { design, serial } : { design, print, serial }
  }

  return {
    has: (text) => locate(text) !== none,
    find(text, cell) {
      let at = locate(text)
      if (at === none) return undefined
      if (valueWords === 0) return plain[0]
      if (!hasCells || cell === undefined) return entryAt(at)
      for (;;) {
        const row = chunk[at] as number
        if (rowCell(row) + 1 === cell) return entryAt(at)
        if (!rowGoesOn(row)) return undefined
        at += rowWords(chunk, at)
      }
    },
  }
}
