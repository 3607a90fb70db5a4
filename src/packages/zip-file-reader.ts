// Reads parts of a ZIP for the unpacker: none that lies outside of the file, whatever the ZIP states of its places.
import type { FileHandle } from 'node:fs/promises'
import { Readable } from 'node:stream'
import * as yauzl from 'yauzl'

const chunkBytes = 64 * 1024

/** The handle stays the caller's to close; closing it waits for reads under way. */
export class ZipFileReader extends yauzl.RandomAccessReader {
  readonly #file: FileHandle
  readonly #bytes: number

  constructor(file: FileHandle, bytes: number) {
    super()
    this.#file = file
    this.#bytes = bytes
  }

  #beyond(start: number, end: number): Error | undefined {
    const inside = Number.isSafeInteger(start) && Number.isSafeInteger(end) && start >= 0 && end <= this.#bytes
    return inside ? undefined : new Error('the ZIP names a place that lies beyond its end')
  }

  // The unpacker's own reader throws where nobody catches it when a place is no safe integer.
  override read(
    buffer: Buffer,
    offset: number,
    length: number,
    position: number,
    callback: (error: Error | null, bytesRead?: number) => void,
  ): void {
    const beyond = this.#beyond(position, position + length)
    if (beyond) {
      setImmediate(callback, beyond)
      return
    }
    this.#file.read(buffer, offset, length, position).then(({ bytesRead }) => callback(null, bytesRead), callback)
  }

  override _readStreamForRange(start: number, end: number): Readable {
    return Readable.from(this.#chunks(start, end), { objectMode: false })
  }

  async *#chunks(start: number, end: number): AsyncGenerator<Buffer> {
    const beyond = this.#beyond(start, end)
    if (beyond) throw beyond
    for (let at = start; at < end; ) {
      const buffer = Buffer.allocUnsafe(Math.min(chunkBytes, end - at))
      const { bytesRead } = await this.#file.read(buffer, 0, buffer.length, at)
      if (bytesRead === 0) return
      yield buffer.subarray(0, bytesRead)
      at += bytesRead
    }
  }
}
