// Rows of a table on disk, apart by the top bits of their hash, so that each part fits into memory. One file for all parts: a part's
// buffer goes to its end when it is full. The file loses its name as soon as it is open: whatever ends the process, nothing stays.
import { closeSync, openSync, readSync, rmSync, writeSync } from 'node:fs'
import { assert } from '../../kernel/assert.ts'

export interface Spill {
  readonly parts: number
  /** The buffers of all parts; a row is written here, at the place that `room` gives. */
  readonly words: Uint32Array
  /** Where the next `count` words of the part go. */
  room(part: number, count: number): number
  /** What a part has, in order; no row lies in two pieces. */
  pieces(part: number): readonly Piece[]
  close(): void
}

export interface Piece {
  readonly words: number
  read(into: Uint32Array, at: number): void
}

/** `bufferWords` is the buffer of one part, at least the longest row. */
export function openSpill(path: string, { parts, bufferWords }: { parts: number; bufferWords: number }): Spill {
  const file = openSync(path, 'wx+', 0o600)
  rmSync(path)
  const words = new Uint32Array(parts * bufferWords)
  const filled = new Uint32Array(parts)
  const written = Array.from({ length: parts }, (): Piece[] => [])
  let end = 0
  const flush = (part: number): void => {
    const position = end
    const count = filled[part] as number
    writeWhole(file, words.subarray(part * bufferWords, part * bufferWords + count), position)
    written[part]?.push({
      words: count,
      read: (into, at) => readWhole(file, into.subarray(at, at + count), position),
    })
    end += 4 * count
    filled[part] = 0
  }
  return {
    parts,
    words,
    room(part, count) {
      assert(count <= bufferWords, 'a row fits the buffer of its part')
      if ((filled[part] as number) + count > bufferWords) flush(part)
      const at = filled[part] as number
      filled[part] = at + count
      return part * bufferWords + at
    },
    pieces(part) {
      const rest = words.subarray(part * bufferWords, part * bufferWords + (filled[part] as number))
      return [...(written[part] ?? []), { words: rest.length, read: (into, at) => into.set(rest, at) }]
    },
    close: () => closeSync(file),
  }
}

const bytesOf = (words: Uint32Array): Uint8Array => new Uint8Array(words.buffer, words.byteOffset, words.byteLength)

/** Writes all of it at the position, also where the system takes it in pieces. */
export function writeWhole(file: number, words: Uint32Array, position: number): void {
  const bytes = bytesOf(words)
  for (let done = 0; done < bytes.length; ) {
    done += writeSync(file, bytes, done, bytes.length - done, position + done)
  }
}

function readWhole(file: number, words: Uint32Array, position: number): void {
  const bytes = bytesOf(words)
  for (let done = 0; done < bytes.length; ) {
    const count = readSync(file, bytes, done, bytes.length - done, position + done)
    assert(count > 0, 'a spill file keeps what was written to it')
    done += count
  }
}
