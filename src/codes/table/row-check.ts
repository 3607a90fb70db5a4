// What a row of a code table must hold: a code of 1 to 200 bytes, named values, a cell number. Works on the bytes; texts are made of
// what is refused only.
import { isUtf8 } from 'node:buffer'
import { limits } from '../../kernel/limits.ts'
import type { ColumnPlaces, TableColumn } from './csv-header.ts'
import type { RowFault, Scan } from './csv-scan.ts'
import { type MangleWatch, openMangleWatch } from './mangled-numbers.ts'
import { excerpt, type FindingText, type TableFindings } from './table-findings.ts'

/** The line of a row that was refused. */
export const refusedRow = 0

const bytesMax: Readonly<Record<TableColumn, number>> = {
  code: limits.codeBytesMax,
  design: limits.nameLengthMax,
  print: limits.nameLengthMax,
  serial: limits.codeBytesMax,
  cell: String(limits.cellsMax).length,
}
const words: Readonly<Record<TableColumn, string>> = {
  code: 'code',
  design: 'design',
  print: 'print version',
  serial: 'serial',
  cell: 'cell',
}

const quote = 0x22
const digit0 = 0x30
const digit9 = 0x39

export interface RowCheck {
  /** Checks the rows of a batch; the line of those refused becomes `refusedRow`. Adds the batch's faults as findings too. */
  check(scan: Scan): void
  /** After the last batch: what only the whole table shows. */
  conclude(): void
}

interface Field {
  readonly column: TableColumn
  readonly place: number
  readonly bytesMax: number
  readonly watched: boolean
}

/** A cell's number; 0 where the bytes are none from 1 to `limits.cellsMax`, or are written with leading zeros. */
export function cellOf(bytes: Buffer, from: number, to: number): number {
  if (to - from > bytesMax.cell || bytes[from] === digit0) return 0
  let value = 0
  for (let at = from; at < to; at++) {
    const c = bytes[at] as number
    if (c < digit0 || c > digit9) return 0
    value = value * 10 + c - digit0
  }
  return value > limits.cellsMax ? 0 : value
}

export function openRowCheck(places: ColumnPlaces, findings: TableFindings): RowCheck {
  const watch = openMangleWatch(findings, limits.tableFindingsMax)
  const fields = (Object.keys(bytesMax) as TableColumn[])
    .filter((column) => places[column] >= 0)
    .map((column) => ({
      column,
      place: places[column] * 2,
      bytesMax: bytesMax[column],
      watched: column === 'code' || column === 'serial',
    }))
  return {
    check(scan) {
      for (const fault of scan.faults) addFault(findings, scan, fault)
      const { lines, columns, rows } = scan
      const sound = isSound(scan)
      for (let row = 0; row < rows; row++) {
        const base = row * columns * 2
        const fits =
          (sound || checkText(scan, row, findings)) && checkFields({ scan, row, base, fields, findings, watch })
        if (!fits) lines[row] = refusedRow
      }
    },
    conclude: () => watch.conclude(),
  }
}

interface Checking {
  readonly scan: Scan
  readonly row: number
  readonly base: number
  readonly fields: readonly Field[]
  readonly findings: TableFindings
  readonly watch: MangleWatch
}

function checkFields({ scan, row, base, fields, findings, watch }: Checking): boolean {
  const { bytes, bounds } = scan
  for (const field of fields) {
    const from = bounds[base + field.place] as number
    const to = bounds[base + field.place + 1] as number
    const line = scan.lines[row] as number
    const { column } = field
    const fits = to > from && (to - from <= field.bytesMax || fitsAsText(scan, field, { from, to }))
    if (!fits || (column === 'cell' && cellOf(bytes, from, to) === 0)) {
      const code = column === 'code' ? 'table-code' : 'table-value'
      findings.add(code, line, () => whyUnfit(column, bytes.toString('utf8', from, to)))
      return false
    }
    if (field.watched && bytes[from - 1] !== quote && watch.look(bytes, { column, row: line, from, to })) return false
  }
  return true
}

/** Names are limited in characters, so more bytes can still fit. */
function fitsAsText(scan: Scan, { column }: Field, { from, to }: { from: number; to: number }): boolean {
  if (column !== 'design' && column !== 'print') return false
  return scan.bytes.toString('utf8', from, to).length <= limits.nameLengthMax
}

function whyUnfit(column: TableColumn, text: string): FindingText {
  const word = words[column]
  if (text === '') {
    const advice =
      column === 'code' || column === 'design' ? '' : '; where the table has the column, every row must have a value'
    return { message: `the ${word} is empty${advice}`, measured: '' }
  }
  if (column === 'cell') {
    return {
      message: `the cell is not a number from 1 to ${limits.cellsMax}`,
      measured: excerpt(text),
      limit: limits.cellsMax,
    }
  }
  const named = column === 'design' || column === 'print'
  const size = named ? text.length : Buffer.byteLength(text)
  const unit = named ? 'characters' : 'bytes'
  return { message: `the ${word} “${excerpt(text)}” is ${size} ${unit} long`, measured: size, limit: bytesMax[column] }
}

const startOf = (scan: Scan, row: number): number => scan.bounds[row * scan.columns * 2] as number
const endOf = (scan: Scan, row: number): number => scan.bounds[(row + 1) * scan.columns * 2 - 1] as number

/** Whether all rows of the batch, and what stands between them, are UTF-8. */
function isSound(scan: Scan): boolean {
  if (scan.rows === 0) return true
  return isUtf8(scan.bytes.subarray(startOf(scan, 0), endOf(scan, scan.rows - 1)))
}

function checkText(scan: Scan, row: number, findings: TableFindings): boolean {
  const bytes = scan.bytes.subarray(startOf(scan, row), endOf(scan, row))
  if (isUtf8(bytes)) return true
  findings.add('table-encoding', scan.lines[row] as number, () => unsound(bytes))
  return false
}

/** The first byte that is no part of UTF-8 text: the longest sound start ends before it, or before its character. */
function unsound(bytes: Buffer): FindingText {
  let end = 0
  while (end < bytes.length && isUtf8(bytes.subarray(0, nextCharacter(bytes, end)))) end = nextCharacter(bytes, end)
  const hex = `0x${(bytes[end] ?? 0).toString(16).toUpperCase().padStart(2, '0')}`
  return {
    message: `the row is not UTF-8 text: byte ${hex} after “${excerpt(bytes.toString('utf8', 0, end))}”; save the table as UTF-8`,
    measured: hex,
  }
}

function nextCharacter(bytes: Buffer, from: number): number {
  let end = from + 1
  while (end < bytes.length && ((bytes[end] as number) & 0xc0) === 0x80) end++
  return end
}

function addFault(findings: TableFindings, scan: Scan, fault: RowFault): void {
  const code = fault.flaw === 'nul' ? 'table-encoding' : 'table-row'
  findings.add(code, fault.line, () => faultText(scan, fault))
}

function faultText({ bytes, columns }: Scan, { flaw, from, to, fields }: RowFault): FindingText {
  const text = bytes.toString('utf8', from, Math.min(to, from + 4 * limits.nameLengthMax)).replace(/[\r\n]+$/, '')
  const measured = excerpt(text)
  switch (flaw) {
    case 'quote-inside':
      return {
        message:
          'a quote stands inside a field that does not begin with one; put the field in quotes and double those inside',
        measured,
      }
    case 'text-after-quote':
      return { message: 'text follows a closing quote; a quote inside a quoted field is written doubled', measured }
    case 'quote-open':
      return { message: 'a quote is opened and not closed', measured, limit: limits.tableRowBytesMax }
    case 'too-long':
      return { message: 'the row is longer than a row may be', measured, limit: limits.tableRowBytesMax }
    case 'nul':
      return { message: 'the row holds a NUL byte', measured: excerpt(text.replaceAll('\0', '␀')) }
    case 'columns':
      return { message: whyColumns({ text, fields, columns }), measured: fields, limit: columns }
  }
}

function whyColumns({ text, fields, columns }: { text: string; fields: number; columns: number }): string {
  if (text === '') return 'the line is empty'
  const ending = fields > columns && text.endsWith(',') ? '; the row ends with a comma' : ''
  const s = fields === 1 ? '' : 's'
  return `the row has ${fields} column${s} where the header has ${columns}${ending}: ${excerpt(text)}`
}
