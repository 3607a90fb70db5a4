// The values of a row as words: pair of design and print version, cell, serial. See index-format.ts for the layout.
import { limits } from '../../kernel/limits.ts'
import { wordsOf } from './code-words.ts'

export const textSerial = 16
const numberDigitsMax = 15
const oneWordDigitsMax = 9
const pairMask = 0x3ffff

export const rowPair = (row: number): number => row & pairMask
export const rowKind = (row: number): number => (row >>> 18) & 0x1f
/** From 0; 0 as well where the table has no cells. */
export const rowCell = (row: number): number => (row >>> 23) & 0xff
export const rowGoesOn = (row: number): boolean => (row & 0x80000000) !== 0
/** A row's first word with another pair's number, and whether another row of its code follows. */
export const withPair = (row: number, pair: number, another: boolean): number =>
  (row & 0x7ffc0000) | pair | (another ? 0x80000000 : 0)

const digit0 = 0x30
/** Powers of ten; a number added to the one of its digits has its leading zeros after the first digit. */
const powers = Array.from({ length: numberDigitsMax + 1 }, (_, digits) => 10 ** digits)

export interface RowPlaces {
  readonly pair: number
  /** From 1; 0 where the table has no cells. */
  readonly cell: number
  /** The serial's bytes; none where `to` is `from`. */
  readonly from: number
  readonly to: number
}

/** Writes a row's words into `words` from `at` on and returns the place after them. */
export function putRow(words: Uint32Array, at: number, bytes: Buffer, { pair, cell, from, to }: RowPlaces): number {
  const kind = serialKind(bytes, from, to)
  words[at] = pair | (kind << 18) | (Math.max(cell - 1, 0) << 23)
  if (kind === 0) return at + 1
  if (kind === textSerial) return putText(words, at + 1, bytes.subarray(from, to))
  let value = 0
  for (let i = from; i < to; i++) value = value * 10 + (bytes[i] as number) - digit0
  words[at + 1] = value % 2 ** 32
  if (kind <= oneWordDigitsMax) return at + 2
  words[at + 2] = Math.floor(value / 2 ** 32)
  return at + 3
}

function serialKind(bytes: Buffer, from: number, to: number): number {
  const length = to - from
  if (length > numberDigitsMax) return textSerial
  for (let i = from; i < to; i++) {
    const digit = (bytes[i] as number) - digit0
    if (digit < 0 || digit > 9) return textSerial
  }
  return length
}

function putText(words: Uint32Array, at: number, text: Buffer): number {
  const count = wordsOf(1 + text.length)
  words.fill(0, at, at + count)
  words[at] = text.length
  for (let i = 0; i < text.length; i++) {
    const place = at + ((i + 1) >> 2)
    words[place] = (words[place] as number) | ((text[i] as number) << (8 * ((i + 1) & 3)))
  }
  return at + count
}

/** Words of the row that begins at `at`. */
export function rowWords(words: Uint32Array, at: number): number {
  const kind = rowKind(words[at] as number)
  if (kind === 0) return 1
  if (kind === textSerial) return 1 + wordsOf(1 + ((words[at + 1] as number) & 0xff))
  return kind <= oneWordDigitsMax ? 2 : 3
}

/** Whether the words hold a row that `putRow` could have written, within `to`. */
export function isRow(words: Uint32Array, at: number, to: number): boolean {
  if (at >= to) return false
  const kind = rowKind(words[at] as number)
  if (kind > textSerial || (kind === textSerial && at + 1 >= to)) return false
  const end = at + rowWords(words, at)
  if (end > to) return false
  if (kind === 0) return true
  const first = words[at + 1] as number
  if (kind === textSerial) return (first & 0xff) > 0 && (first & 0xff) <= limits.codeBytesMax
  const value = kind <= oneWordDigitsMax ? first : (words[at + 2] as number) * 2 ** 32 + first
  return value < (powers[kind] as number)
}

const upperUnit = 10 ** oneWordDigitsMax

/** The serial of the row that begins at `at`, which has one. */
export function serialOf(words: Uint32Array, at: number): string {
  const kind = rowKind(words[at] as number)
  const first = words[at + 1] as number
  if (kind <= oneWordDigitsMax) return String((powers[kind] as number) + first).slice(1)
  if (kind === textSerial) return textAt(words, at + 1)
  const value = (words[at + 2] as number) * 2 ** 32 + first
  const upper = Math.floor(value / upperUnit)
  const upperText = String((powers[kind - oneWordDigitsMax] as number) + upper).slice(1)
  return upperText + String(upperUnit + (value - upper * upperUnit)).slice(1)
}

function textAt(words: Uint32Array, at: number): string {
  const byteLength = (words[at] as number) & 0xff
  return Buffer.from(words.buffer, words.byteOffset + 4 * at + 1, byteLength).toString('utf8')
}
