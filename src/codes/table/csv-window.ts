// The stretch of a code table that is in memory: UTF-8 bytes, refilled from the file block by block. What the scanner left over moves to
// the front, so a window is never larger than a block and the longest row.
import type { FileHandle } from 'node:fs/promises'
import { limits } from '../../kernel/limits.ts'
import { bytesPerUnitMax, encodingOf, openTranscoder, type TableEncoding, transcoderRestBytes } from './csv-encoding.ts'

export const blockBytesDefault = 1024 * 1024

export interface TextWindow {
  readonly encoding: TableEncoding
  readonly bytes: Buffer
  /** Bytes of the window that hold text. */
  readonly length: number
  /** No more text will come. */
  readonly ended: boolean
  /** Bytes of the file read so far. */
  readonly readBytes: number
  /** Drops the text before `from` and reads on. */
  refill(from: number): Promise<void>
}

/** Opens a window on the file's start, empty, to be read in blocks. The file must not change meanwhile. */
export async function openWindow(handle: FileHandle, blockBytes = blockBytesDefault): Promise<TextWindow> {
  const head = Buffer.alloc(3)
  const { bytesRead } = await handle.read(head, 0, head.length, 0)
  const { encoding, markBytes } = encodingOf(head.subarray(0, bytesRead))
  const transcoder = encoding === 'utf-8' ? undefined : openTranscoder(encoding)
  const raw = transcoder ? Buffer.allocUnsafe(blockBytes) : undefined
  const bytes = Buffer.allocUnsafe(
    Math.ceil(blockBytes / 2) * bytesPerUnitMax + 2 * limits.tableRowBytesMax + transcoderRestBytes,
  )
  let length = 0
  let ended = false
  let readBytes = markBytes
  const readInto = async (target: Buffer, at: number): Promise<number> => {
    const read = await handle.read(target, at, blockBytes, readBytes)
    readBytes += read.bytesRead
    if (read.bytesRead === 0) ended = true
    return read.bytesRead
  }
  return {
    encoding,
    bytes,
    get length() {
      return length
    },
    get ended() {
      return ended
    },
    get readBytes() {
      return readBytes
    },
    async refill(from) {
      bytes.copyWithin(0, from, length)
      length -= from
      if (transcoder === undefined || raw === undefined) {
        length += await readInto(bytes, length)
        return
      }
      const count = await readInto(raw, 0)
      length += count === 0 ? transcoder.finish(bytes, length) : transcoder.next(raw.subarray(0, count), bytes, length)
    },
  }
}
