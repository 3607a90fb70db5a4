// The check of an index's structure when it is opened: every bucket, code and row is what a builder could have written, so that lookups
// need no checks of their own, whoever made the file.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { limits } from '../../kernel/limits.ts'
import type { SharedCodeIndex } from './code-index.ts'
import { wordsOf } from './code-words.ts'
import { badIndex, bucketCodesMax, headBytes, headIsLast, headValueWords, longValues } from './index-format.ts'
import { isRow, rowCell, rowGoesOn, rowKind, rowPair, rowWords } from './row-values.ts'

/** Buckets between two turns of the event loop: some 5 ms. */
const bucketsAtOnce = 32 * 1024

interface Walk {
  readonly shared: SharedCodeIndex
  readonly chunks: readonly Uint32Array[]
  /** Words of the arena before the next bucket. */
  end: number
  codes: number
  rows: number
}

/** Problem `code-index-bad`. */
export async function walkIndex(shared: SharedCodeIndex, signal?: AbortSignal): Promise<void> {
  const directory = new Uint32Array(shared.directory)
  const chunks = shared.chunks.map((chunk) => new Uint32Array(chunk))
  const walk: Walk = { shared, chunks, end: 1, codes: 0, rows: 0 }
  for (let from = 0; from < directory.length; from += bucketsAtOnce) {
    const to = Math.min(from + bucketsAtOnce, directory.length)
    for (let bucket = from; bucket < to; bucket++) {
      const start = directory[bucket] as number
      if (start !== 0 && !walkBucket(walk, start)) {
        throw badIndex('a bucket of the code index is not sound', { measured: bucket, limit: directory.length })
      }
    }
    await turnOfTheLoop()
    signal?.throwIfAborted()
  }
  const { codes, rows } = shared.header
  if (walk.codes !== codes || walk.rows !== rows) {
    throw badIndex('the code index does not have as many codes or rows as its header states', {
      measured: `${walk.codes} codes, ${walk.rows} rows`,
      limit: `${codes} codes, ${rows} rows`,
    })
  }
}

function walkBucket(walk: Walk, start: number): boolean {
  const { chunkBits } = walk.shared.header
  const chunk = walk.chunks[start >>> chunkBits]
  if (chunk === undefined || start < walk.end) return false
  const heads = start & ((1 << chunkBits) - 1)
  let end = heads
  for (let last = false; !last; end++) {
    if (end >= chunk.length || end - heads === bucketCodesMax) return false
    last = ((chunk[end] as number) & headIsLast) !== 0
  }
  let at = end
  for (let i = heads; i < end; i++) {
    at = walkRecord(walk, { chunk, head: chunk[i] as number, at })
    if (at < 0) return false
    walk.codes++
  }
  walk.end = start - heads + at
  return true
}

/** The place after a record; -1 where it is not sound. */
function walkRecord(walk: Walk, { chunk, head, at }: { chunk: Uint32Array; head: number; at: number }): number {
  const byteLength = headBytes(head)
  let from = at + wordsOf(byteLength)
  if (byteLength === 0 || byteLength > limits.codeBytesMax || from > chunk.length) return -1
  let valueWords = headValueWords(head)
  if (valueWords === longValues) valueWords = (chunk[from++] as number | undefined) ?? 0
  if (valueWords === 0) {
    walk.rows++
    const { serial, cell } = walk.shared.header.carries
    return serial || cell ? -1 : from
  }
  const to = from + valueWords
  return to <= chunk.length && walkRows(walk, { chunk, from, to }) ? to : -1
}

/** Whether the words are rows of one code, in order of cells, the last one closed. */
function walkRows(walk: Walk, { chunk, from, to }: { chunk: Uint32Array; from: number; to: number }): boolean {
  const { header, pairs } = walk.shared
  const { serial, cell } = header.carries
  let before = -1
  for (let at = from; ; ) {
    if (!isRow(chunk, at, to)) return false
    const row = chunk[at] as number
    if (rowPair(row) >= pairs.length || rowCell(row) <= before || rowCell(row) >= limits.cellsMax) return false
    if (rowKind(row) > 0 !== serial || (!cell && rowCell(row) > 0)) return false
    before = rowCell(row)
    walk.rows++
    at += rowWords(chunk, at)
    if (!rowGoesOn(row)) return at === to
  }
}
