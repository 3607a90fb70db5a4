// The first line of a code table: which column stands where. Order is free, `code` and `design` must be there, other names are refused.
import type { FindingText } from './table-findings.ts'
import { excerpt } from './table-findings.ts'

export const tableColumns = ['code', 'design', 'print', 'serial', 'cell'] as const
export type TableColumn = (typeof tableColumns)[number]

/** Ordinal of each column among the fields of a row, from 0; -1 where the table has none. */
export type ColumnPlaces = Readonly<Record<TableColumn, number>>

const wanted = 'code,design and, if wanted, print, serial and cell, in any order'

/** The places of the columns, or everything that is wrong with the header's names. */
export const readHeader = (names: readonly string[]): { places: ColumnPlaces; faults: readonly FindingText[] } =>
  readColumns(names, { columns: tableColumns, required: ['code', 'design'], wanted })

interface Columns<C extends string> {
  readonly columns: readonly C[]
  readonly required: readonly C[]
  /** The columns in words, for findings. */
  readonly wanted: string
}

/** Where each column stands among the names of a header, -1 where it has none, or everything that is wrong with the names. */
export function readColumns<C extends string>(
  names: readonly string[],
  { columns, required, wanted }: Columns<C>,
): { places: Readonly<Record<C, number>>; faults: readonly FindingText[] } {
  const known: readonly string[] = columns
  const faults: FindingText[] = []
  for (const [i, name] of names.entries()) {
    if (names.indexOf(name) < i)
      faults.push({ message: `the column “${excerpt(name)}” stands twice`, measured: excerpt(name) })
    else if (!known.includes(name))
      faults.push({ message: whyUnknown(name, known), measured: excerpt(name), limit: wanted })
  }
  for (const column of required) {
    if (!names.includes(column))
      faults.push({ message: `the column “${column}” is missing`, measured: excerpt(names.join(',')), limit: wanted })
  }
  const places = Object.fromEntries(columns.map((column) => [column, names.indexOf(column)])) as Record<C, number>
  return { places, faults }
}

function whyUnknown(name: string, known: readonly string[]): string {
  const plain = name.trim().toLowerCase()
  if (name.includes('\0'))
    return 'the first line holds NUL bytes: text in UTF-16 needs a byte order mark; better save it as UTF-8'
  if (/[;\t|]/.test(name)) return `“${excerpt(name)}” is one column, since columns are separated by commas only`
  if (name === '') return 'a column has no name; the line may end with a comma'
  if (known.includes(plain)) return `“${excerpt(name)}” is no column; write it as “${plain}”`
  return `there is no column “${excerpt(name)}”`
}
