// A set of serials as bytes: about three a serial where serials are numbers in a row.
//
// Magic, count of serials; then groups until the count is reached: numbers in the group, texts in the group; the numbers in order, each
// as its key's difference to the one before, and its tag's; the texts as length, units, cell, tag. SHA-256 of all this at the end. All
// numbers are varints.
import { createHash } from 'node:crypto'
import { limits } from '../../kernel/limits.ts'
import { Problem } from '../../kernel/problem.ts'
import { isNumberKey } from './serial-key.ts'
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

/** The tag of a serial that is a number, by the words of its key. */
type TagOf = (low: number, high: number) => number

/** The set's pieces, in order. */
export function* writeSnapshot(set: {
  readonly segments: readonly (SerialSegment | undefined)[]
  readonly size: number
  /** Fails where the set has changed since the snapshot began. */
  readonly demandSame: () => void
  readonly tagOf: TagOf
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

function writeGroup(writer: VarintWriter, group: readonly SerialSegment[], tagOf: TagOf): void {
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
  let lowBefore = 0
  let highBefore = 0
  let tagBefore = 0
  for (let i = 0; i < numbers; i++) {
    const low = halves[2 * i] as number
    const high = halves[2 * i + 1] as number
    const tag = tagOf(low, high)
    if (high === highBefore) writer.put(2 * (low - lowBefore))
    else {
      writer.put(2 * (high - highBefore) + 1)
      writer.put(low)
    }
    writer.put(zigzag(tag - tagBefore))
    lowBefore = low
    highBefore = high
    tagBefore = tag
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

/** Serials of a snapshot, some ten thousand at a time. */
export interface SerialGroup {
  /** Of serials that are numbers: low and high word of the key, tag; three words each. */
  readonly numbers: Uint32Array
  readonly texts: readonly TaggedSerial[]
}

/** The count of a snapshot's serials, and the serials, group by group. Problem `serials-bad`, before the first group where it is damaged. */
export function readSnapshot(bytes: Uint8Array): { count: number; groups: Generator<SerialGroup> } {
  const end = bytes.length - sumBytes
  if (end < magic.length || !magic.equals(bytes.subarray(0, magic.length))) {
    throw unsound('this is no snapshot of serials')
  }
  const sum = createHash('sha256').update(bytes.subarray(0, end)).digest()
  if (!sum.equals(bytes.subarray(end))) throw unsound('the snapshot of serials does not have the digest that it states')
  const body = bytes.subarray(0, end)
  const reader = openVarintReader(body, magic.length)
  const count = reader.next()
  // A serial takes two bytes at least.
  if (count < 0 || count > end / 2) throw unsound('the snapshot of serials has no sound count')
  return { count, groups: readGroups(reader, { count, end }) }
}

function* readGroups(reader: VarintReader, { count, end }: { count: number; end: number }): Generator<SerialGroup> {
  let rest = count
  while (reader.at < end) {
    const numbers = reader.next()
    const texts = reader.next()
    if (numbers < 0 || texts < 0 || numbers + texts > rest) throw unsound('a group of the snapshot is not sound')
    rest -= numbers + texts
    yield { numbers: readNumbers(reader, numbers), texts: readTexts(reader, texts) }
  }
  if (rest !== 0) throw unsound('the snapshot of serials has fewer serials than it states')
}

function readNumbers(reader: VarintReader, count: number): Uint32Array {
  const numbers = new Uint32Array(3 * count)
  let low = 0
  let high = 0
  let tag = 0
  for (let at = 0; at < numbers.length; at += 3) {
    const step = reader.next()
    if (step % 2 === 0) low += step / 2
    else {
      high += (step - 1) / 2
      low = reader.next()
    }
    tag += unzigzag(reader.next())
    if (!isNumberKey(low, high) || !isTag(tag)) throw unsound('a serial of the snapshot is not sound')
    numbers[at] = low
    numbers[at + 1] = high
    numbers[at + 2] = tag
  }
  return numbers
}

const isTag = (tag: number): boolean => Number.isInteger(tag) && tag >= 0 && tag < 2 ** 32

function readTexts(reader: VarintReader, count: number): TaggedSerial[] {
  return Array.from({ length: count }, () => {
    const length = reader.next()
    if (length < 0 || length > limits.codeBytesMax) throw unsound('a serial of the snapshot is too long')
    const serial = String.fromCharCode(...Array.from({ length }, () => reader.next()))
    const cell = reader.next()
    const tag = reader.next()
    const isCell = cell >= 0 && cell <= limits.cellsMax
    if (!isCell || !isTag(tag)) throw unsound('a serial of the snapshot is not sound')
    return { serial, cell, tag }
  })
}
