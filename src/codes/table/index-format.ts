// The file of a code index. All numbers are little-endian; a word has 32 bits.
//
//   header      256 bytes: magic, counts, the key of the hash
//   directory   one word a bucket: where its codes lie in the arena, in words; 0 for an empty bucket
//   arena       bucket by bucket, in order: a head word for each of its codes, then a record for each
//   dictionary  JSON: the pairs of design and print version, with the number of rows of each
//   trailer     SHA-256 of all that stands before it
//
// Head: bytes of the code (bits 0–7), mark (8–23), value words (24–30, 127: see below), last of its bucket (31).
// Record: the code's UTF-8 bytes, filled up to words; then the values, one row after the other in order of cells. Codes whose only row
// is (pair 0, no serial, no cell) have no value words. Where they would be 127 or more, a first word says how many follow.
// Row: pair (bits 0–17), kind of serial (18–22), cell − 1 (23–30), another row follows (31); then the serial: kind 0 none; 1 to 15 a
// number of so many digits in one word, in two from 10 on (low, high); 16 text, one byte of length and its UTF-8 bytes.
//
// A code's bucket is floor(hash × buckets / 2³²), so the directory is in order of hashes and a file is built front to back. A bucket
// holds about four codes, its heads side by side: a miss reads the directory and one line of the arena, a hit one or two lines more.
// Chunks of the arena (2^chunkBits words) are loaded as buffers of their own; no bucket crosses from one to the next.
import { Problem } from '../../kernel/problem.ts'
import { hashKeysMax } from './code-hash.ts'

export const headerBytes = 256
export const trailerBytes = 32
export const codesPerBucket = 4
/** More codes than this in a bucket are no chance: at four on average, fewer than one in 10³⁴ buckets has so many. */
export const bucketCodesMax = 48
/** 1 GiB. */
export const chunkBitsDefault = 28
export const chunkBitsMin = 20
export const pairsMax = 2 ** 18
export const dictionaryBytesMax = 512 * 1024 * 1024

const name = 'rollcall.codes/'
const version = '1'
const magic = Buffer.from(name + version, 'latin1')

export interface IndexHeader {
  readonly rows: number
  readonly codes: number
  readonly buckets: number
  /** Which of `hashKeyOf` the hash takes. */
  readonly attempt: number
  readonly carries: Carries
  readonly chunkBits: number
  /** The arena's words, the unused first one and the gaps at the ends of chunks included. */
  readonly arenaWords: number
  readonly dictionaryBytes: number
}

/** Which optional columns the table has. */
export interface Carries {
  readonly print: boolean
  readonly serial: boolean
  readonly cell: boolean
}

const at = {
  attempt: 16,
  carries: 20,
  chunkBits: 24,
  buckets: 28,
  rows: 32,
  codes: 40,
  arenaWords: 48,
  dictionaryBytes: 56,
}

export function encodeHeader(header: IndexHeader): Buffer {
  const bytes = Buffer.alloc(headerBytes)
  const { print, serial, cell } = header.carries
  magic.copy(bytes)
  bytes.writeUInt32LE(header.attempt, at.attempt)
  bytes.writeUInt32LE(Number(print) | (Number(serial) << 1) | (Number(cell) << 2), at.carries)
  bytes.writeUInt32LE(header.chunkBits, at.chunkBits)
  bytes.writeUInt32LE(header.buckets, at.buckets)
  for (const key of ['rows', 'codes', 'arenaWords', 'dictionaryBytes'] as const) {
    bytes.writeBigUInt64LE(BigInt(header[key]), at[key])
  }
  return bytes
}

/** Where each section begins, and how long the file is, bytes. */
export interface Sections {
  readonly arena: number
  readonly dictionary: number
  readonly trailer: number
  readonly fileBytes: number
}

export function sectionsOf({ buckets, arenaWords, dictionaryBytes }: IndexHeader): Sections {
  const arena = headerBytes + 4 * buckets
  const dictionary = arena + 4 * arenaWords
  const trailer = dictionary + dictionaryBytes
  return { arena, dictionary, trailer, fileBytes: trailer + trailerBytes }
}

/** Reads and checks a header against the length of its file. Problem `code-index-bad`. */
export function decodeHeader(bytes: Buffer, fileBytes: number): IndexHeader {
  if (bytes.length < headerBytes || !bytes.subarray(0, name.length).equals(magic.subarray(0, name.length))) {
    throw badIndex('the file is no code index')
  }
  const found = bytes.toString('latin1', name.length, magic.length)
  if (found !== version)
    throw badIndex('the code index has another version', { measured: JSON.stringify(found), limit: version })
  const long = (place: number): number => Number(bytes.readBigUInt64LE(place))
  const carried = bytes.readUInt32LE(at.carries)
  const header: IndexHeader = {
    rows: long(at.rows),
    codes: long(at.codes),
    buckets: bytes.readUInt32LE(at.buckets),
    attempt: bytes.readUInt32LE(at.attempt),
    carries: { print: (carried & 1) > 0, serial: (carried & 2) > 0, cell: (carried & 4) > 0 },
    chunkBits: bytes.readUInt32LE(at.chunkBits),
    arenaWords: long(at.arenaWords),
    dictionaryBytes: long(at.dictionaryBytes),
  }
  const sound =
    header.attempt < hashKeysMax &&
    carried < 8 &&
    header.chunkBits >= chunkBitsMin &&
    header.chunkBits <= chunkBitsDefault &&
    header.buckets >= 1 &&
    header.codes >= 1 &&
    header.codes <= header.rows &&
    header.arenaWords <= 2 ** 32 &&
    header.dictionaryBytes <= dictionaryBytesMax
  if (!sound) throw badIndex('the header of the code index is not sound')
  const { fileBytes: wanted } = sectionsOf(header)
  if (wanted !== fileBytes) {
    throw badIndex('the code index does not have the length that its header states', {
      measured: fileBytes,
      limit: wanted,
    })
  }
  return header
}

export const badIndex = (
  detail: string,
  place: { measured?: string | number; limit?: string | number } = {},
): Problem => new Problem('code-index-bad', detail, place)

/** The bucket of a hash. */
export const bucketOf = (hash: number, buckets: number): number => Math.floor(hash * 2 ** -32 * buckets)

export const headFits = 0x00ffffff
export const headIsLast = 0x80000000
export const longValues = 127

export const headOf = ({
  byteLength,
  mark,
  valueWords,
}: {
  byteLength: number
  mark: number
  valueWords: number
}): number => byteLength | ((mark & 0xffff) << 8) | (Math.min(valueWords, longValues) << 24)

export const headBytes = (head: number): number => head & 0xff
export const headValueWords = (head: number): number => (head >>> 24) & 0x7f
