// The dictionary of an index: its pairs of design and print version, in order of texts, with the rows that each has.
import { limits } from '../../kernel/limits.ts'
import { badIndex, dictionaryBytesMax, pairsMax } from './index-format.ts'
import type { DesignPair } from './pair-table.ts'

/** A design of a table, with its rows; by print version where the table has these. */
export interface DesignCount {
  readonly design: string
  readonly rows: number
  readonly prints: readonly { readonly print: string; readonly rows: number }[]
}

type Row = readonly [design: string, rows: number] | readonly [design: string, rows: number, print: string]

const inOrder = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0)

/** The pairs in order of texts (UTF-16 units), and the place of each there. */
export function rankPairs(pairs: readonly DesignPair[]): { sorted: readonly DesignPair[]; ranks: Uint32Array } {
  const order = pairs.map((_, i) => i)
  const at = (i: number): DesignPair => pairs[i] as DesignPair
  order.sort((a, b) => inOrder(at(a).design, at(b).design) || inOrder(at(a).print ?? '', at(b).print ?? ''))
  const ranks = new Uint32Array(pairs.length)
  for (const [rank, pair] of order.entries()) ranks[pair] = rank
  return { sorted: order.map(at), ranks }
}

export function encodeDictionary(sorted: readonly DesignPair[]): Buffer {
  const rows = sorted.map(
    ({ design, print, rows }): Row => (print === undefined ? [design, rows] : [design, rows, print]),
  )
  return Buffer.from(JSON.stringify(rows))
}

/** Problem `code-index-bad`. */
export function decodeDictionary(
  bytes: Buffer,
  { print, rows }: { print: boolean; rows: number },
): readonly DesignPair[] {
  const value = parse(bytes)
  if (!Array.isArray(value) || value.length === 0 || value.length > pairsMax) throw unsound()
  const pairs = value.map((row: unknown): DesignPair => readRow(row, print))
  if (pairs.reduce((sum, pair) => sum + pair.rows, 0) !== rows) throw unsound()
  return pairs
}

const unsound = () => badIndex('the dictionary of the code index is not sound', { limit: dictionaryBytesMax })

function parse(bytes: Buffer): unknown {
  try {
    return JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes))
  } catch {
    throw unsound()
  }
}

const isName = (value: unknown): value is string =>
  typeof value === 'string' && value !== '' && value.length <= limits.nameLengthMax

function readRow(row: unknown, hasPrint: boolean): DesignPair {
  if (!Array.isArray(row) || row.length !== (hasPrint ? 3 : 2)) throw unsound()
  const [design, rows, print] = row as unknown[]
  if (!isName(design) || !Number.isSafeInteger(rows) || Number(rows) < 1 || (hasPrint && !isName(print)))
    throw unsound()
  return { design, rows: Number(rows), ...(isName(print) ? { print } : {}) }
}

/** Sorted pairs, design by design. */
export function designCounts(sorted: readonly DesignPair[]): readonly DesignCount[] {
  const counts = new Map<string, { design: string; rows: number; prints: { print: string; rows: number }[] }>()
  for (const { design, print, rows } of sorted) {
    const count = counts.get(design) ?? { design, rows: 0, prints: [] }
    counts.set(design, count)
    count.rows += rows
    if (print !== undefined) count.prints.push({ print, rows })
  }
  return [...counts.values()]
}
