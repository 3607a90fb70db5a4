// A set of serials as bytes: about three a serial where serials are numbers in a row.
//
// Magic, count of serials; then groups until the count is reached: numbers in the group, texts in the group; the numbers in order, each
// as its key's difference to the one before, and its tag's; the texts as length, units, cell, tag. SHA-256 of all this at the end. All
// numbers are varints.
import { createHash } from 'node:crypto'
import { limits } from '../../kernel/limits.ts'
import { Problem } from '../../kernel/problem.ts'
import { isTextKey, numberSerial } from './serial-key.ts'
import type { SerialSegment } from './serial-segment.ts'
import {
  openVarintReader,
  openVarintWriter,
  unzigzag,
  type VarintReader,
  type VarintWriter,
  zigzag,
} from './varints.ts'

const magic = Buffer.from('rollcall.serials/1')
const sumBytes = 32
/** Of 30 million serials a group has some 120,000, and takes some 60 ms. */
const segmentsPerGroup = 16

export interface TaggedSerial {
  readonly serial: string
  /** 0 for none. */
  readonly cell: number
  readonly tag: number
}

/** The set's pieces, in order. */
export function* writeSnapshot(set: {
  readonly segments: readonly (SerialSegment | undefined)[]
  readonly size: number
  /** Fails where the set has changed since the snapshot began. */
  readonly demandSame: () => void
  readonly tagOf: (serial: string, cell: number) => number
}): Generator<Uint8Array> {
  const hash = createHash('sha256')
  const writer = openVarintWriter()
  const pass = (piece: Uint8Array): Uint8Array => {
    hash.update(piece)
    return piece
  }
  yield pass(magic)
  writer.put(set.size)
  for (let first = 0; first < set.segments.length; first += segmentsPerGroup) {
    set.demandSame()
    const group = set.segments.slice(first, first + segmentsPerGroup).filter((segment) => segment !== undefined)
    if (group.length > 0) writeGroup(writer, group, set.tagOf)
    yield pass(writer.take())
  }
  yield hash.digest()
}

function writeGroup(
  writer: VarintWriter,
  group: readonly SerialSegment[],
  tagOf: (serial: string, cell: number) => number,
): void {
  const count = group.reduce((sum, segment) => sum + segment.count, 0)
  const keys = new BigUint64Array(count)
  const halves = new Uint32Array(keys.buffer)
  const texts: TaggedSerial[] = []
  let numbers = 0
  const keep = (low: number, high: number): void => {
    halves[2 * numbers] = low
    halves[2 * numbers + 1] = high
    numbers++
  }
  for (const segment of group) segment.visit(keep, (text) => texts.push(text))
  keys.subarray(0, numbers).sort()
  writer.put(numbers)
  writer.put(texts.length)
  let before = { low: 0, high: 0, tag: 0 }
  for (let i = 0; i < numbers; i++) {
    const low = halves[2 * i] as number
    const high = halves[2 * i + 1] as number
    const { serial, cell } = numberSerial({ low, high })
    const tag = tagOf(serial, cell)
    if (high === before.high) writer.put(2 * (low - before.low))
    else {
      writer.put(2 * (high - before.high) + 1)
      writer.put(low)
    }
    writer.put(zigzag(tag - before.tag))
    before = { low, high, tag }
  }
  for (const text of texts) writeText(writer, text)
}

function writeText(writer: VarintWriter, { serial, cell, tag }: TaggedSerial): void {
  writer.put(serial.length)
  for (let i = 0; i < serial.length; i++) writer.put(serial.charCodeAt(i))
  writer.put(cell)
  writer.put(tag)
}

const unsound = (detail: string): Problem => new Problem('serials-bad', detail)

/** The count of a snapshot's serials, and the serials, group by group. Problem `serials-bad`, before the first group where it is damaged. */
export function readSnapshot(bytes: Uint8Array): { count: number; groups: Generator<readonly TaggedSerial[]> } {
  const end = bytes.length - sumBytes
  if (end < magic.length || !magic.equals(bytes.subarray(0, magic.length)))
    throw unsound('this is no snapshot of serials')
  const sum = createHash('sha256').update(bytes.subarray(0, end)).digest()
  if (!sum.equals(bytes.subarray(end))) throw unsound('the snapshot of serials does not have the digest that it states')
  const body = bytes.subarray(0, end)
  const reader = openVarintReader(body, magic.length)
  const count = reader.next()
  // A serial takes two bytes at least.
  if (count < 0 || count > end / 2) throw unsound('the snapshot of serials has no sound count')
  return { count, groups: readGroups(reader, { count, end }) }
}

function* readGroups(
  reader: VarintReader,
  { count, end }: { count: number; end: number },
): Generator<readonly TaggedSerial[]> {
  let rest = count
  while (reader.at < end) {
    const numbers = reader.next()
    const texts = reader.next()
    if (numbers < 0 || texts < 0 || numbers + texts > rest)
      throw unsound('a group of the snapshot of serials is not sound')
    rest -= numbers + texts
    yield [...readNumbers(reader, numbers), ...readTexts(reader, texts)]
  }
  if (rest !== 0) throw unsound('the snapshot of serials has fewer serials than it states')
}

function readNumbers(reader: VarintReader, count: number): TaggedSerial[] {
  const serials: TaggedSerial[] = []
  let low = 0
  let high = 0
  let tag = 0
  for (let i = 0; i < count; i++) {
    const step = reader.next()
    if (step % 2 === 0) low += step / 2
    else {
      high += (step - 1) / 2
      low = reader.next()
    }
    tag += unzigzag(reader.next())
    serials.push(demandSerial({ ...numberOf(low, high), tag }))
  }
  return serials
}

function numberOf(low: number, high: number): { serial: string; cell: number } {
  const digits = (high >>> 18) & 0xf
  const sound = low >= 0 && low < 2 ** 32 && high >= 0 && high < 2 ** 31 && !isTextKey(high) && digits > 0
  if (!sound || (high & 0x3ffff) * 2 ** 32 + low >= 10 ** digits) throw unsound('a serial of the snapshot is not sound')
  return numberSerial({ low, high })
}

function readTexts(reader: VarintReader, count: number): TaggedSerial[] {
  return Array.from({ length: count }, () => {
    const length = reader.next()
    if (length < 0 || length > limits.codeBytesMax) throw unsound('a serial of the snapshot is too long')
    const serial = String.fromCharCode(...Array.from({ length }, () => reader.next()))
    const cell = reader.next()
    return demandSerial({ serial, cell, tag: reader.next() })
  })
}

function demandSerial(serial: TaggedSerial): TaggedSerial {
  const { cell, tag } = serial
  const isCell = cell >= 0 && cell <= limits.cellsMax
  const isTag = Number.isInteger(tag) && tag >= 0 && tag < 2 ** 32
  if (!isCell || !isTag) throw unsound('a serial of the snapshot is not sound')
  return serial
}
