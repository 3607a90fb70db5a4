// The serials that were laid, each with a tag: an exact set for tens of millions. From half a million on it takes up to 15.5 bytes a
// serial of up to 15 digits (28 below); others take that and two bytes a character. The set is 4,096 segments that grow apart from one
// another, so no addition waits for the whole.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { assert } from '../../kernel/assert.ts'
import { limits } from '../../kernel/limits.ts'
import { Problem } from '../../kernel/problem.ts'
import { type SerialKey, setKey } from './serial-key.ts'
import { SerialSegment } from './serial-segment.ts'
import { readSnapshot, writeSnapshot } from './serial-snapshot.ts'

const segmentBits = 12
/** Smaller segments are grown quickly enough. */
const worthRoom = 64

export interface SerialSet {
  readonly size: number
  /** Memory that it takes. */
  readonly bytes: number
  /** Adds a serial, or gives it another tag; returns the tag that it had. A tag is an integer from 0 to 2³² − 1. */
  add(serial: string, tag: number, cell?: number): number | undefined
  /** The tag of a serial, with the cell that it was added with; undefined where the set doesn't have it. */
  get(serial: string, cell?: number): number | undefined
  delete(serial: string, cell?: number): boolean
  clear(): void
  /** Makes room for so many serials in all. */
  reserve(count: number): void
  /** The set as bytes, piece by piece, for `restoreSerials`. It must not change before the last piece is taken. */
  snapshot(): Generator<Uint8Array>
}

/** An empty set. Serials are texts of at most `limits.codeBytesMax` UTF-16 units; cells are from 1 to `limits.cellsMax`. */
export function openSerialSet(): SerialSet {
  const segments: (SerialSegment | undefined)[] = new Array(2 ** segmentBits).fill(undefined)
  const key: SerialKey = { low: 0, high: 0, segmentHash: 0, slotHash: 0 }
  let size = 0
  let changes = 0
  const segmentOf = (serial: string, cell: number): SerialSegment | undefined => {
    setKey(key, serial, cell)
    return segments[key.segmentHash >>> (32 - segmentBits)]
  }
  const segmentFor = (serial: string, cell: number): SerialSegment => {
    const found = segmentOf(serial, cell)
    if (found) return found
    const made = new SerialSegment()
    segments[key.segmentHash >>> (32 - segmentBits)] = made
    return made
  }
  return {
    get size() {
      return size
    },
    get bytes() {
      return segments.reduce((sum, segment) => sum + (segment?.bytes ?? 0), 0)
    },
    add(serial, tag, cell = 0) {
      assert(serial.length <= limits.codeBytesMax && cell >= 0 && cell <= limits.cellsMax, 'a serial comes from a code')
      assert(Number.isInteger(tag) && tag >= 0 && tag < 2 ** 32, 'a tag fits a word')
      const segment = segmentFor(serial, cell)
      const former = segment.set(key, { serial, cell, tag })
      changes++
      if (former === undefined) size++
      return former
    },
    get(serial, cell = 0) {
      if (serial.length > limits.codeBytesMax) return undefined
      return segmentOf(serial, cell)?.get(key, serial, cell)
    },
    delete(serial, cell = 0) {
      if (serial.length > limits.codeBytesMax) return false
      const gone = segmentOf(serial, cell)?.delete(key, serial, cell) ?? false
      if (gone) size--
      changes++
      return gone
    },
    clear() {
      segments.fill(undefined)
      size = 0
      changes++
    },
    reserve(count) {
      const each = Math.ceil(count / segments.length)
      if (each < worthRoom) return
      // Hashes share out unevenly: four standard deviations more.
      const room = Math.ceil(each + 4 * Math.sqrt(each))
      for (const [i, segment] of segments.entries()) {
        const own = segment ?? new SerialSegment()
        own.reserve(room)
        segments[i] = own
      }
    },
    snapshot() {
      const began = changes
      return writeSnapshot({
        segments,
        size,
        demandSame: () => assert(changes === began, 'a set does not change while its snapshot is taken'),
        tagOf: (serial, cell) => segmentOf(serial, cell)?.get(key, serial, cell) ?? 0,
      })
    },
  }
}

/** The set that a snapshot was taken of. Problem `serials-bad`. */
export async function restoreSerials(bytes: Uint8Array, signal?: AbortSignal): Promise<SerialSet> {
  const set = openSerialSet()
  const { count, groups } = readSnapshot(bytes)
  set.reserve(count)
  for (const group of groups) {
    for (const { serial, tag, cell } of group) set.add(serial, tag, cell)
    await turnOfTheLoop()
    signal?.throwIfAborted()
  }
  if (set.size !== count)
    throw new Problem('serials-bad', 'the snapshot has a serial twice', { measured: set.size, limit: count })
  return set
}
