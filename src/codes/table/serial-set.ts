// The serials that were laid, each with a tag: an exact set for tens of millions. From half a million on it takes up to 15.5 bytes a
// serial of up to 15 digits (28 below); others take that and two bytes a character. The set is 4,096 segments that grow apart from one
// another, so no addition waits for the whole.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { assert } from '../../kernel/assert.ts'
import { limits } from '../../kernel/limits.ts'
import { Problem } from '../../kernel/problem.ts'
import { type SerialKey, serialOf, setKey, setNumberKey } from './serial-key.ts'
import { SerialSegment } from './serial-segment.ts'
import { readSnapshot, writeSnapshot } from './serial-snapshot.ts'

const segmentBits = 12
/** Some 2 ms. */
const visitedPerTurn = 4_096
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
  /**
   * Calls `each` for every serial, in no order; `cell` is 0 for none. Other work runs in between; the set must not change meanwhile.
   */
  visit(each: (serial: string, cell: number, tag: number) => void): Promise<void>
  /** Gives every serial the tag that `to` makes of its tag. */
  retag(to: (tag: number) => number): void
  /**
   * Takes in the serials of a snapshot, each with the tag that `merge` makes of the snapshot's and of the one that the set has.
   * Other work runs in between, so they come in bit by bit. Problem `serials-bad`, before anything is taken in.
   */
  absorb(bytes: Uint8Array, merge: (tag: number, former: number | undefined) => number): Promise<void>
  /** The set as bytes, piece by piece, for `restoreSerials`. It must not change before the last piece is taken. */
  snapshot(): Generator<Uint8Array>
}

/** An empty set. Serials are texts of at most `limits.codeBytesMax` UTF-16 units; cells are from 1 to `limits.cellsMax`. */
export const openSerialSet = (): SerialSet => setOver(new Segments())

/** The segments, and the key of the serial in hand. */
class Segments {
  size = 0
  changes = 0
  all: (SerialSegment | undefined)[] = new Array(2 ** segmentBits).fill(undefined)
  readonly key: SerialKey = { low: 0, high: 0, segmentHash: 0, slotHash: 0 }

  /** Takes a serial in hand, and returns the segment where it belongs, if there is one. */
  take(serial: string, cell: number): SerialSegment | undefined {
    setKey(this.key, serial, cell)
    return this.all[this.key.segmentHash >>> (32 - segmentBits)]
  }

  takeNumber(low: number, high: number): SerialSegment | undefined {
    setNumberKey(this.key, low, high)
    return this.all[this.key.segmentHash >>> (32 - segmentBits)]
  }

  /** Adds the serial in hand to its segment, which is made where there is none. */
  put(segment = new SerialSegment(), values: { serial: string; cell: number; tag: number }): number | undefined {
    this.all[this.key.segmentHash >>> (32 - segmentBits)] = segment
    const former = segment.set(this.key, values)
    this.changes++
    if (former === undefined) this.size++
    return former
  }

  async visit(each: (serial: string, cell: number, tag: number) => void): Promise<void> {
    let sinceTurn = 0
    for (const segment of this.all) {
      if (!segment) continue
      sinceTurn += segment.count
      if (sinceTurn > visitedPerTurn) {
        await turnOfTheLoop()
        sinceTurn = 0
      }
      segment.visit(
        (low, high, tag) => {
          const { serial, cell } = serialOf(low, high)
          each(serial, cell, tag)
        },
        ({ serial, cell, tag }) => each(serial, cell, tag),
      )
    }
  }

  async absorb(bytes: Uint8Array, merge: (tag: number, former: number | undefined) => number): Promise<void> {
    const { count, groups } = readSnapshot(bytes)
    this.reserve(Math.max(count, this.size))
    for (const { numbers, texts } of groups) {
      for (let at = 0; at < numbers.length; at += 3) {
        const segment = this.takeNumber(numbers[at] as number, numbers[at + 1] as number)
        const former = segment?.get(this.key, '', 0)
        this.put(segment, { serial: '', cell: 0, tag: merge(numbers[at + 2] as number, former) })
      }
      for (const { serial, tag, cell } of texts) {
        const segment = this.take(serial, cell)
        const former = segment?.get(this.key, serial, cell)
        this.put(segment, { serial, cell, tag: merge(tag, former) })
      }
      await turnOfTheLoop()
    }
  }

  reserve(count: number): void {
    const each = Math.ceil(count / this.all.length)
    if (each < worthRoom) return
    // Hashes share out unevenly: four standard deviations more.
    const room = Math.ceil(each + 4 * Math.sqrt(each))
    this.all = this.all.map((segment = new SerialSegment()) => {
      segment.reserve(room)
      return segment
    })
  }

  snapshot(): Generator<Uint8Array> {
    const began = this.changes
    return writeSnapshot({
      segments: this.all,
      size: this.size,
      demandSame: () => assert(this.changes === began, 'a set does not change while its snapshot is taken'),
      tagOf: (low, high) => this.takeNumber(low, high)?.get(this.key, '', 0) ?? 0,
    })
  }
}

function setOver(segments: Segments): SerialSet {
  return {
    get size() {
      return segments.size
    },
    get bytes() {
      return segments.all.reduce((sum, segment) => sum + (segment?.bytes ?? 0), 0)
    },
    add(serial, tag, cell = 0) {
      assert(serial.length <= limits.codeBytesMax && cell >= 0 && cell <= limits.cellsMax, 'a serial comes from a code')
      assert(Number.isInteger(tag) && tag >= 0 && tag < 2 ** 32, 'a tag fits a word')
      return segments.put(segments.take(serial, cell), { serial, cell, tag })
    },
    get(serial, cell = 0) {
      if (serial.length > limits.codeBytesMax) return undefined
      return segments.take(serial, cell)?.get(segments.key, serial, cell)
    },
    delete(serial, cell = 0) {
      if (serial.length > limits.codeBytesMax) return false
      const gone = segments.take(serial, cell)?.delete(segments.key, serial, cell) ?? false
      if (gone) segments.size--
      segments.changes++
      return gone
    },
    clear() {
      segments.all.fill(undefined)
      segments.size = 0
      segments.changes++
    },
    reserve: (count) => segments.reserve(count),
    visit: (each) => segments.visit(each),
    retag(to) {
      for (const segment of segments.all) segment?.retag(to)
      segments.changes++
    },
    absorb: (bytes, merge) => segments.absorb(bytes, merge),
    snapshot: () => segments.snapshot(),
  }
}

/** The set that a snapshot was taken of. Problem `serials-bad`. */
export async function restoreSerials(bytes: Uint8Array, signal?: AbortSignal): Promise<SerialSet> {
  const segments = new Segments()
  const set = setOver(segments)
  const { count, groups } = readSnapshot(bytes)
  set.reserve(count)
  for (const { numbers, texts } of groups) {
    for (let at = 0; at < numbers.length; at += 3) {
      const segment = segments.takeNumber(numbers[at] as number, numbers[at + 1] as number)
      segments.put(segment, { serial: '', cell: 0, tag: numbers[at + 2] as number })
    }
    for (const { serial, tag, cell } of texts) set.add(serial, tag, cell)
    await turnOfTheLoop()
    signal?.throwIfAborted()
  }
  if (set.size !== count) {
    throw new Problem('serials-bad', 'the snapshot has a serial twice', { measured: set.size, limit: count })
  }
  return set
}
