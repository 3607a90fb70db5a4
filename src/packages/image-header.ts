// What an image file says of itself, read before anything is decoded: a few bytes decide whether it is worth a decoder's memory.
import { closeSync, fstatSync, openSync, readSync } from 'node:fs'
import type { FileBytes } from '../codes/index.ts'
import { type HeaderReading, imageFault } from './image-fault.ts'
import { readPngHeader } from './png-header.ts'
import { readTiffHeader } from './tiff-header.ts'

function bytesOf(descriptor: number): FileBytes {
  const { size } = fstatSync(descriptor)
  const has = (at: number, count: number): boolean => at >= 0 && count >= 0 && at + count <= size
  return {
    size,
    has,
    read(at, count) {
      if (!has(at, count)) return undefined
      const bytes = Buffer.alloc(count)
      return readSync(descriptor, bytes, 0, count, at) === count ? bytes : undefined
    },
  }
}

const startsWith = (bytes: Buffer, hex: string): boolean => bytes.toString('hex').startsWith(hex)

// Common names for what is met instead of PNG and TIFF.
function formatMet(start: Buffer): string {
  if (startsWith(start, 'ffd8ff')) return 'JPEG'
  if (startsWith(start, '474946')) return 'GIF'
  if (startsWith(start, '424d')) return 'BMP'
  if (startsWith(start, '25504446')) return 'PDF'
  if (startsWith(start, '52494646')) return 'WebP or another RIFF file'
  return start.length === 0 ? 'an empty file' : 'unknown'
}

function readHeader(bytes: FileBytes): HeaderReading {
  const start = bytes.read(0, Math.min(bytes.size, 8)) ?? Buffer.alloc(0)
  if (startsWith(start, '89504e470d0a1a0a')) return readPngHeader(bytes)
  if (/^(49492a00|4d4d002a|49492b00|4d4d002b)/.test(start.toString('hex'))) return readTiffHeader(bytes)
  const met = formatMet(start)
  return {
    faults: [
      imageFault('image-format', 'neither PNG nor TIFF, judged by content', { measured: met, limit: 'PNG or TIFF' }),
    ],
  }
}

/** Reads the header of a layer file, whatever the file is called. */
export function readImageHeader(path: string): HeaderReading {
  const descriptor = openSync(path, 'r')
  try {
    return readHeader(bytesOf(descriptor))
  } finally {
    closeSync(descriptor)
  }
}
