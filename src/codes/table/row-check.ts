// What a row of a code table must hold: a code of 1 to 200 bytes, named values, a cell number. Works on the bytes; texts are made of
// what is refused only.
import { limits } from '../../kernel/limits.ts'
import type { ColumnPlaces, TableColumn } from './csv-header.ts'
import type { RowFault, Scan } from './csv-scan.ts'
import { type MangleWatch, openMangleWatch } from './mangled-numbers.ts'
import { faultText, isSound, whyUnsound } from './row-faults.ts'
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

function checkText(scan: Scan, row: number, findings: TableFindings): boolean {
  const why = whyUnsound(scan, row)
  if (why) findings.add('table-encoding', scan.lines[row] as number, why)
  return why === undefined
}

function addFault(findings: TableFindings, scan: Scan, fault: RowFault): void {
  const code = fault.flaw === 'nul' ? 'table-encoding' : 'table-row'
  findings.add(code, fault.line, () => faultText(scan, fault))
}
