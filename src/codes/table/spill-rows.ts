// First pass over a code table: every sound row, hashed and packed into words, goes to the part of the spill that its hash names.
//
// A row in the spill: hash, head (see index-format.ts), line; the code's words; the row's values, its pair numbered as it came.
import { assert } from '../../kernel/assert.ts'
import { limits } from '../../kernel/limits.ts'
import { type HashKey, hashed, hashWords } from './code-hash.ts'
import { packBytes, packed, wordsOf } from './code-words.ts'
import type { ColumnPlaces } from './csv-header.ts'
import type { Scan } from './csv-scan.ts'
import { headOf } from './index-format.ts'
import type { PairTable } from './pair-table.ts'
import { cellOf, refusedRow } from './row-check.ts'
import { putRow } from './row-values.ts'
import type { Spill } from './spill.ts'
import type { TableFindings } from './table-findings.ts'

/** Words of a spilled row before its code: hash, head, line. */
export const spilledBefore = 3
/** The longest row. */
export const spilledWordsMax = spilledBefore + wordsOf(limits.codeBytesMax) + 1 + wordsOf(1 + limits.codeBytesMax)

interface Spilling {
  readonly spill: Spill
  readonly key: HashKey
  readonly places: ColumnPlaces
  readonly pairs: PairTable
  readonly findings: TableFindings
}

const values = new Uint32Array(spilledWordsMax)

/** Spills the batch's rows and returns how many those were. */
export function spillBatch(scan: Scan, { spill, key, places, pairs, findings }: Spilling): number {
  const { bytes, bounds, columns, rows, lines } = scan
  const { words } = spill
  const shift = 32 - Math.log2(spill.parts)
  let count = 0
  for (let row = 0; row < rows; row++) {
    const line = lines[row] as number
    if (line === refusedRow) continue
    const base = 2 * row * columns
    const start = (place: number): number => (place < 0 ? 0 : (bounds[base + 2 * place] as number))
    const end = (place: number): number => (place < 0 ? 0 : (bounds[base + 2 * place + 1] as number))
    const { code, design, print, serial, cell } = places
    const pair = pairs.number(bytes, {
      from: start(design),
      to: end(design),
      printFrom: start(print),
      printTo: end(print),
    })
    if (pair < 0) {
      refuseDesign(findings, line)
      continue
    }
    const from = start(code)
    const byteLength = end(code) - from
    const codeWords = wordsOf(byteLength)
    packBytes(bytes, { from, to: end(code) })
    hashWords(packed, { from: 0, count: codeWords, byteLength }, key)
    const cellNumber = cell < 0 ? 0 : cellOf(bytes, start(cell), end(cell))
    const valueWords = putRow(values, 0, bytes, { pair, cell: cellNumber, from: start(serial), to: end(serial) })
    const hash = hashed[0] as number
    const size = spilledBefore + codeWords + valueWords
    let at = spill.room(shift === 32 ? 0 : hash >>> shift, size)
    words[at++] = hash
    words[at++] = headOf({ byteLength, mark: hashed[1] as number, valueWords })
    words[at++] = line
    for (let i = 0; i < codeWords; i++) words[at++] = packed[i] as number
    for (let i = 0; i < valueWords; i++) words[at++] = values[i] as number
    count++
  }
  assert(scan.line < 2 ** 32, 'line numbers fit a word')
  return count
}

function refuseDesign(findings: TableFindings, line: number): void {
  findings.add('table-value', line, () => ({
    message: `the table has more than ${limits.designsMax.toLocaleString('en-GB')} designs, or too many print versions of them`,
    limit: limits.designsMax,
  }))
}
