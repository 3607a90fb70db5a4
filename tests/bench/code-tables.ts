// Code tables of any length: row i has a code of 24 letters and digits that only its number decides, so that nothing need be kept to
// ask for codes that are there, and for codes that are not.
import { once } from 'node:events'
import { createWriteStream } from 'node:fs'

export const codeLength = 24
const alphabet = Buffer.from('ABCDEFGHJKLMNPQRSTUVWXYZ23456789')
const lettersPerWord = 6
const rowsPerWrite = 20_000
const designCount = 40

/** Mixes a number with a stream into 32 bits (the finaliser of MurmurHash3). */
function mixed(row: number, stream: number): number {
  let word = Math.imul(row ^ Math.imul(stream, 0x9e3779b1), 0x85ebca6b)
  word = Math.imul(word ^ (word >>> 13), 0xc2b2ae35) + stream
  word = Math.imul(word ^ (word >>> 16), 0x85ebca6b)
  return word ^ (word >>> 13)
}

/** Writes the code of row `row` into `bytes` at `at`. Streams from 0 give different codes for the same row. */
export function putCode(bytes: Buffer, at: number, row: number, stream = 0): void {
  for (let word = 0; word < codeLength / lettersPerWord; word++) {
    let bits = mixed(row, 16 * stream + word + 1)
    for (let i = 0; i < lettersPerWord; i++) {
      bytes[at + word * lettersPerWord + i] = alphabet[bits & 31] as number
      bits >>>= 5
    }
  }
}

const scratch = Buffer.alloc(codeLength)

/** The code as a new flat string, as a decoder makes it. */
export function freshCode(row: number, stream = 0): string {
  putCode(scratch, 0, row, stream)
  return scratch.toString('latin1')
}

/** A code that no table has: row `row`'s with one letter changed to a digit that codes are not made of. */
export function freshMiss(row: number): string {
  putCode(scratch, 0, row)
  scratch[row % codeLength] = 0x30 + (row & 1)
  return scratch.toString('latin1')
}

export interface TableShape {
  readonly rows: number
  /** With print version and serial; without, all codes are of one design. */
  readonly values: boolean
  /** A line that takes the place of a row's. */
  readonly instead?: { get(row: number): string | undefined }
}

export const headerOf = ({ values }: TableShape): string => (values ? 'code,design,print,serial' : 'code,design')

export function lineOf(row: number, { values }: TableShape): string {
  const code = freshCode(row)
  if (!values) return `${code},ONE`
  return `${code},DESIGN-${(row >> 10) % designCount},0${1 + (row % 2)},${String(row).padStart(8, '0')}`
}

/** Writes the table, row by row. */
export async function writeCodeTable(path: string, shape: TableShape): Promise<void> {
  const stream = createWriteStream(path)
  stream.write(`${headerOf(shape)}\n`)
  for (let from = 0; from < shape.rows; from += rowsPerWrite) {
    const count = Math.min(rowsPerWrite, shape.rows - from)
    const lines = Array.from(
      { length: count },
      (_, i) => `${shape.instead?.get(from + i) ?? lineOf(from + i, shape)}\n`,
    )
    if (!stream.write(lines.join(''))) await once(stream, 'drain')
  }
  stream.end()
  await once(stream, 'finish')
}
