// The first directory of a TIFF 6.0 or BigTIFF file: its entries, read without trust in counts and offsets.

/** Bytes of a file by place. `read` gives undefined where the file ends before. */
export interface FileBytes {
  readonly size: number
  /** Whether so many bytes stand there; costs nothing however many they are. */
  has(at: number, count: number): boolean
  read(at: number, count: number): Buffer | undefined
}

/** Bytes in memory. */
export function bytesInMemory(bytes: Uint8Array): FileBytes {
  const size = bytes.length
  const has = (at: number, count: number): boolean => at >= 0 && count >= 0 && at + count <= size
  return {
    size,
    has,
    read: (at, count) => (has(at, count) ? Buffer.from(bytes.buffer, bytes.byteOffset + at, count) : undefined),
  }
}

// Bytes of one value by field type; the check of whole files needs all of them, reading only the unsigned ones.
const fieldBytes = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8]
const unsignedTypes = [1, 3, 4, 16]
/** Strips or tiles of the largest image: 2^28 pixels in tiles of the least size, 16 × 16. */
const valuesMax = 2 ** 20
/** A plain picture has some twenty; decoders take time that grows with the square of unknown ones. */
const entriesMax = 1_024

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

export interface TiffDirectory {
  /** Values of a tag; undefined where it is absent, or points outside the file. */
  values(tag: number): readonly number[] | undefined
  /** The first value of a tag, whatever its count. */
  first(tag: number): number | undefined
  readonly isLast: boolean
  /** Whether all values lie within the file. */
  readonly isWhole: boolean
  /** Values are so many that they must share bytes: decoders read each entry's values, and then a small file costs without end. */
  readonly isCrowded: boolean
}

interface Field {
  readonly type: number
  readonly count: number
  /** Bytes of all values. */
  readonly length: number
  /** Where they stand in the file; absent where they stand in the entry itself. */
  readonly at?: number
}

function fieldOf(layout: Layout, entry: Buffer): Field {
  const type = layout.number(entry, 2, 2)
  const count = layout.number(entry, 4, layout.wordBytes)
  const length = (fieldBytes[type] ?? 0) * count
  const word = 4 + layout.wordBytes
  return {
    type,
    count,
    length,
    ...(length > layout.wordBytes ? { at: layout.number(entry, word, layout.wordBytes) } : {}),
  }
}

function outsideBytes(layout: Layout, entry: Buffer): number {
  const { at, length } = fieldOf(layout, entry)
  return at === undefined ? 0 : length
}

// Only asked whether they are there: entries may all point at the same bytes, and many times the file is no reading matter.
function isInFile(bytes: FileBytes, layout: Layout, entry: Buffer): boolean {
  const { at, length } = fieldOf(layout, entry)
  return at === undefined || bytes.has(at, length)
}

function entryValues(bytes: FileBytes, layout: Layout, entry: Buffer, most: number): readonly number[] | undefined {
  const { type, count, length, at } = fieldOf(layout, entry)
  if (!unsignedTypes.includes(type) || count > valuesMax) return undefined
  if (at !== undefined && !bytes.has(at, length)) return undefined
  const size = fieldBytes[type] ?? 0
  const wanted = Math.min(count, most)
  const held = at === undefined ? entry.subarray(4 + layout.wordBytes) : bytes.read(at, wanted * size)
  return held && Array.from({ length: wanted }, (_, i) => layout.number(held, i * size, size))
}

function readAs(bytes: FileBytes, layout: Layout): TiffDirectory | undefined {
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
      return entry && entryValues(bytes, layout, entry, valuesMax)
    },
    first(tag) {
      const entry = entries.get(tag)
      return entry && entryValues(bytes, layout, entry, 1)?.[0]
    },
    isLast: layout.number(body, count * layout.entryBytes, layout.wordBytes) === 0,
    isCrowded: [...entries.values()].reduce((sum, entry) => sum + outsideBytes(layout, entry), 0) > bytes.size,
    isWhole: [...entries.values()].every((entry) => isInFile(bytes, layout, entry)),
  }
}

/** Reads the first directory; undefined where the file is cut off or has none. */
export function readTiffDirectory(bytes: FileBytes): TiffDirectory | undefined {
  const start = bytes.read(0, 8)
  return start && readAs(bytes, layoutOf(start))
}
