// The text encodings that a code table may come in, brought to UTF-8 bytes. What is not sound text stays unsound on the way, so that
// one check finds it in its row.

export type TableEncoding = 'utf-8' | 'utf-16le' | 'utf-16be'

/** The encoding that a byte order mark names, and how long the mark is; UTF-8 without one. */
export function encodingOf(head: Uint8Array): { readonly encoding: TableEncoding; readonly markBytes: number } {
  const [a, b, c] = head
  if (a === 0xef && b === 0xbb && c === 0xbf) return { encoding: 'utf-8', markBytes: 3 }
  if (a === 0xff && b === 0xfe) return { encoding: 'utf-16le', markBytes: 2 }
  if (a === 0xfe && b === 0xff) return { encoding: 'utf-16be', markBytes: 2 }
  return { encoding: 'utf-8', markBytes: 0 }
}

/** UTF-8 bytes that one UTF-16 unit can become at most. */
export const bytesPerUnitMax = 3
/** Bytes that a transcoder may hold back: one odd byte and a high surrogate. */
export const transcoderRestBytes = 8

/** Turns the next bytes of a file into UTF-8 at `at` of `into` and returns how many those are. */
export type Transcode = (chunk: Uint8Array, into: Uint8Array, at: number) => number

export interface Transcoder {
  readonly next: Transcode
  /** What was held back, as bytes that are no UTF-8: the file ended within a character. */
  readonly finish: (into: Uint8Array, at: number) => number
}

/** UTF-16 to UTF-8. A surrogate without its partner becomes the three bytes that UTF-8 forbids. */
export function openTranscoder(encoding: 'utf-16le' | 'utf-16be'): Transcoder {
  const highAt = encoding === 'utf-16le' ? 1 : 0
  let odd = -1
  let high = 0
  const put = (unit: number, into: Uint8Array, at: number): number => {
    if (high !== 0) {
      const first = high
      high = 0
      if (unit >= 0xdc00 && unit <= 0xdfff) {
        return putPoint(0x10000 + ((first - 0xd800) << 10) + unit - 0xdc00, into, at)
      }
      return put(unit, into, putPoint(first, into, at))
    }
    if (unit >= 0xd800 && unit <= 0xdbff) {
      high = unit
      return at
    }
    return putPoint(unit, into, at)
  }
  return {
    next(chunk, into, start) {
      let at = start
      let i = 0
      if (odd >= 0 && chunk.length > 0) {
        const other = chunk[i++] ?? 0
        at = put(highAt === 1 ? odd | (other << 8) : (odd << 8) | other, into, at)
        odd = -1
      }
      for (; i + 1 < chunk.length; i += 2) {
        at = put(((chunk[i + highAt] ?? 0) << 8) | (chunk[i + 1 - highAt] ?? 0), into, at)
      }
      if (i < chunk.length) odd = chunk[i] ?? 0
      return at - start
    },
    finish(into, start) {
      let at = high === 0 ? start : putPoint(high, into, start)
      if (odd >= 0) into[at++] = 0xff
      high = 0
      odd = -1
      return at - start
    },
  }
}

function putPoint(point: number, into: Uint8Array, start: number): number {
  let at = start
  if (point < 0x80) {
    into[at++] = point
    return at
  }
  if (point < 0x800) {
    into[at++] = 0xc0 | (point >> 6)
  } else {
    if (point < 0x10000) into[at++] = 0xe0 | (point >> 12)
    else {
      into[at++] = 0xf0 | (point >> 18)
      into[at++] = 0x80 | ((point >> 12) & 0x3f)
    }
    into[at++] = 0x80 | ((point >> 6) & 0x3f)
  }
  into[at++] = 0x80 | (point & 0x3f)
  return at
}
