// TIFF 6.0 and BigTIFF: the first image file directory. Layers must be one page of unsigned black-is-zero gray, stored losslessly.
import { type FileBytes, type HeaderReading, type ImageFault, imageFault } from './image-fault.ts'

const tags = {
  width: 256,
  height: 257,
  bits: 258,
  compression: 259,
  photometric: 262,
  stripOffsets: 273,
  orientation: 274,
  samples: 277,
  stripBytes: 279,
  tileOffsets: 324,
  tileBytes: 325,
  sampleFormat: 339,
} as const

// None, CCITT, LZW, Deflate (two numbers) and PackBits.
const losslessCompressions = new Set([1, 2, 3, 4, 5, 8, 32_946, 32_773])
const photometricNames: Record<number, string> = {
  0: 'white is zero',
  2: 'RGB',
  3: 'palette',
  5: 'CMYK',
  6: 'YCbCr',
  8: 'Lab',
}
// Bytes of one value by field type; the check of whole files needs all of them, reading only the unsigned ones.
const fieldBytes = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8]
const unsignedTypes = [1, 3, 4, 16]
const valuesMax = 4_000_000
const entriesMax = 4_096

// The two layouts: TIFF counts in 32 bits, BigTIFF in 64.
interface Layout {
  readonly big: boolean
  readonly entryBytes: number
  readonly countBytes: number
  readonly wordBytes: number
  number(bytes: Buffer, at: number, size: number): number
}

function layoutOf(start: Buffer): Layout {
  const little = start[0] === 0x49
  const big = start.readUInt8(little ? 2 : 3) === 43
  return {
    big,
    entryBytes: big ? 20 : 12,
    countBytes: big ? 8 : 2,
    wordBytes: big ? 8 : 4,
    number(bytes, at, size) {
      if (size === 8) return Number(little ? bytes.readBigUInt64LE(at) : bytes.readBigUInt64BE(at))
      return little ? bytes.readUIntLE(at, size) : bytes.readUIntBE(at, size)
    },
  }
}

interface Directory {
  /** Values of a tag; undefined where it is absent, or points outside the file. */
  values(tag: number): readonly number[] | undefined
  readonly isLast: boolean
  /** Whether all values lie within the file. */
  readonly isWhole: boolean
}

// The bytes of one entry's values, in place or where it points to; undefined where that is no place of the file.
function entryBytes(bytes: FileBytes, layout: Layout, entry: Buffer): Buffer | undefined {
  const size = fieldBytes[layout.number(entry, 2, 2)] ?? 0
  const count = layout.number(entry, 4, layout.wordBytes)
  const field = 4 + layout.wordBytes
  if (size * count <= layout.wordBytes) return entry.subarray(field)
  return bytes.read(layout.number(entry, field, layout.wordBytes), size * count)
}

function entryValues(bytes: FileBytes, layout: Layout, entry: Buffer): readonly number[] | undefined {
  const type = layout.number(entry, 2, 2)
  const count = layout.number(entry, 4, layout.wordBytes)
  if (!unsignedTypes.includes(type) || count > valuesMax) return undefined
  const held = entryBytes(bytes, layout, entry)
  const size = fieldBytes[type] ?? 0
  return held && Array.from({ length: count }, (_, i) => layout.number(held, i * size, size))
}

function readDirectory(bytes: FileBytes, layout: Layout): Directory | undefined {
  const pointer = bytes.read(layout.big ? 8 : 4, layout.wordBytes)
  const at = pointer ? layout.number(pointer, 0, layout.wordBytes) : 0
  const countField = at > 0 ? bytes.read(at, layout.countBytes) : undefined
  const count = countField ? layout.number(countField, 0, layout.countBytes) : 0
  if (count === 0 || count > entriesMax) return undefined
  const body = bytes.read(at + layout.countBytes, count * layout.entryBytes + layout.wordBytes)
  if (!body) return undefined
  const entries = new Map<number, Buffer>()
  for (let i = 0; i < count; i += 1) {
    const entry = body.subarray(i * layout.entryBytes, (i + 1) * layout.entryBytes)
    entries.set(layout.number(entry, 0, 2), entry)
  }
  return {
    values(tag) {
      const entry = entries.get(tag)
      return entry && entryValues(bytes, layout, entry)
    },
    isLast: layout.number(body, count * layout.entryBytes, layout.wordBytes) === 0,
    isWhole: [...entries.values()].every((entry) => entryBytes(bytes, layout, entry) !== undefined),
  }
}

function colourFault(directory: Directory): ImageFault | undefined {
  const photometric = directory.values(tags.photometric)?.[0]
  const samples = directory.values(tags.samples)?.[0] ?? 1
  if (photometric === 0) {
    // Two readers would take opposite sides on what 0 means, and 0 must mean nothing.
    return imageFault(
      'image-colour',
      'the TIFF says that white is zero; save it with black as zero, so that 0 is nothing',
      {
        measured: 'white is zero',
        limit: 'black is zero',
      },
    )
  }
  if (photometric === 1 && samples === 1) return undefined
  const measured = `${photometricNames[photometric ?? -1] ?? `photometric ${photometric}`}, ${samples} samples`
  return imageFault('image-colour', 'not plain gray', { measured, limit: 'gray, 1 sample' })
}

function storageFaults(directory: Directory): ImageFault[] {
  const faults: ImageFault[] = []
  const compression = directory.values(tags.compression)?.[0] ?? 1
  if (!losslessCompressions.has(compression)) {
    faults.push(
      imageFault('image-lossy', 'the compression is lossy or not one of none, CCITT, LZW, Deflate and PackBits', {
        measured: compression,
      }),
    )
  }
  if (!directory.isLast) faults.push(imageFault('image-pages', 'the TIFF has several pages', { limit: 1 }))
  const orientation = directory.values(tags.orientation)?.[0] ?? 1
  if (orientation !== 1) {
    faults.push(
      imageFault('image-unreadable', 'the TIFF asks to be turned or mirrored; save it upright', {
        measured: `orientation ${orientation}`,
        limit: 'orientation 1',
      }),
    )
  }
  const sampleFormat = directory.values(tags.sampleFormat)?.[0] ?? 1
  if (sampleFormat !== 1) {
    faults.push(
      imageFault('image-depth', 'samples are not unsigned integers', { measured: `sample format ${sampleFormat}` }),
    )
  }
  return faults
}

// Every strip or tile must lie within the file; some decoders fill what is cut off with zeros.
function isWhole(bytes: FileBytes, directory: Directory): boolean {
  const offsets = directory.values(tags.stripOffsets) ?? directory.values(tags.tileOffsets)
  const lengths = directory.values(tags.stripBytes) ?? directory.values(tags.tileBytes)
  if (!directory.isWhole || !offsets || !lengths || offsets.length !== lengths.length) return false
  return offsets.every((offset, i) => offset + (lengths[i] ?? 0) <= bytes.size)
}

/** Reads a TIFF's header and finds what makes it unfit as a layer. */
export function readTiffHeader(bytes: FileBytes): HeaderReading {
  const start = bytes.read(0, 8)
  const layout = start && layoutOf(start)
  const directory = layout && readDirectory(bytes, layout)
  const widthPx = directory?.values(tags.width)?.[0]
  const heightPx = directory?.values(tags.height)?.[0]
  if (!directory || !widthPx || !heightPx) {
    return { faults: [imageFault('image-unreadable', 'the TIFF is cut off or has no image directory')] }
  }
  const faults = storageFaults(directory)
  const colour = colourFault(directory)
  if (colour) faults.push(colour)
  if (!isWhole(bytes, directory))
    faults.push(imageFault('image-unreadable', 'the TIFF is cut off: image data lies beyond its end'))
  return { header: { format: 'tiff', widthPx, heightPx, bits: directory.values(tags.bits)?.[0] ?? 1 }, faults }
}
