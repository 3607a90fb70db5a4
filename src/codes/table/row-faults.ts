// What makes a row of CSV unreadable or unsound as text, in words for a person: the same for every kind of table.
import { isUtf8 } from 'node:buffer'
import { limits } from '../../kernel/limits.ts'
import type { RowFault, Scan } from './csv-scan.ts'
import { excerpt, type FindingText } from './table-findings.ts'

const startOf = (scan: Scan, row: number): number => scan.bounds[row * scan.columns * 2] as number
const endOf = (scan: Scan, row: number): number => scan.bounds[(row + 1) * scan.columns * 2 - 1] as number

/** Whether all rows of the batch, and what stands between them, are UTF-8. */
export function isSound(scan: Scan): boolean {
  if (scan.rows === 0) return true
  return isUtf8(scan.bytes.subarray(startOf(scan, 0), endOf(scan, scan.rows - 1)))
}

/** What is wrong with a row as text; undefined where it is sound. */
export function whyUnsound(scan: Scan, row: number): (() => FindingText) | undefined {
  const bytes = scan.bytes.subarray(startOf(scan, row), endOf(scan, row))
  return isUtf8(bytes) ? undefined : () => unsound(bytes)
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

/** What is wrong with a row that could not be read. */
export function faultText({ bytes, columns }: Scan, { flaw, from, to, fields }: RowFault): FindingText {
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
