// A serial with its cell as a key of two words. Serials of up to 15 digits are the key; of others the key holds a hash, and the text
// lies in the segment's store.
//
// high, number: 0 (bit 31), cell (22–30, 0 for none), digits (18–21, leading zeros count), upper bits of the value (0–17); low: lower bits
// high, text: 1 (bit 31), hash (0–30); low: the text's place in the store, which the key does not know yet
import { limits } from '../../kernel/limits.ts'
import { hashed, hashKeyOf, hashWords } from './code-hash.ts'
import { packed } from './code-words.ts'

export interface SerialKey {
  low: number
  high: number
  /** Places the key among the segments: its top bits are used. */
  segmentHash: number
  /** Places the key within its segment. */
  slotHash: number
}

const digitsMax = 15
const powers = Array.from({ length: digitsMax + 1 }, (_, digits) => 10 ** digits)
const digit0 = 0x30
const hashKey = hashKeyOf(0)
export const textBit = 0x80000000

export const isTextKey = (high: number): boolean => (high & textBit) !== 0

/** Whether a serial is a number that fits the key. */
function numberOf(serial: string): number {
  if (serial.length === 0 || serial.length > digitsMax) return -1
  let value = 0
  for (let i = 0; i < serial.length; i++) {
    const digit = serial.charCodeAt(i) - digit0
    if (digit < 0 || digit > 9) return -1
    value = value * 10 + digit
  }
  return value
}

/** Fills `key`. `cell` is 0 for none. */
export function setKey(key: SerialKey, serial: string, cell: number): void {
  const value = numberOf(serial)
  if (value < 0) {
    setTextKey(key, serial, cell)
    return
  }
  const upper = Math.floor(value / 2 ** 32)
  key.low = value - upper * 2 ** 32
  key.high = ((cell << 22) | (serial.length << 18) | upper) >>> 0
  setNumberHashes(key)
}

/** The hashes of a key that is a number. */
export function setNumberHashes(key: SerialKey): void {
  packed[0] = key.low
  packed[1] = key.high
  hashWords(packed, { from: 0, count: 2, byteLength: 8 }, hashKey)
  key.segmentHash = hashed[0] as number
  key.slotHash = hashed[1] as number
}

function setTextKey(key: SerialKey, serial: string, cell: number): void {
  packed[0] = cell
  let count = 1
  for (let i = 0; i < serial.length; i += 2) packed[count++] = serial.charCodeAt(i) | (serial.charCodeAt(i + 1) << 16)
  hashWords(packed, { from: 0, count, byteLength: 2 * serial.length + 1 }, hashKey)
  key.segmentHash = hashed[0] as number
  key.high = ((hashed[1] as number) | textBit) >>> 0
  key.slotHash = textSlotHash(key.high)
  key.low = 0
}

/** Where a text key belongs in its segment is known from the key alone. */
export const textSlotHash = (high: number): number => (high << 1) >>> 0

/** Fills `key` with the words of one that is a number. */
export function setNumberKey(key: SerialKey, low: number, high: number): void {
  key.low = low
  key.high = high
  setNumberHashes(key)
}

/** The serial and the cell (0 for none) that the words of a number's key stand for. */
export function serialOf(low: number, high: number): { serial: string; cell: number } {
  const value = (high & 0x3ffff) * 2 ** 32 + low
  return { serial: String(value).padStart((high >>> 18) & 0xf, '0'), cell: (high >>> 22) & 0x1ff }
}

/** Whether two words are the key of a number that `setKey` could have made. */
export function isNumberKey(low: number, high: number): boolean {
  const areWords = low >= 0 && low < 2 ** 32 && high >= 0 && high < textBit
  const digits = (high >>> 18) & 0xf
  const cell = (high >>> 22) & 0x1ff
  return (
    areWords && digits > 0 && cell <= limits.cellsMax && (high & 0x3ffff) * 2 ** 32 + low < (powers[digits] as number)
  )
}
