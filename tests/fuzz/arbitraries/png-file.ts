// PNG files (ISO/IEC 15948) as chunks that may lie: about sizes, names, checksums, lengths, order.
import { crc32, deflateSync } from 'node:zlib'
import fc from 'fast-check'
import { type ByteEdit, byteEdit, edgeNumber, editBytes, place, placeIn } from './byte-edits.ts'

interface ChunkEdit {
  readonly at: number
  readonly what: 'length' | 'name' | 'drop' | 'repeat' | 'data' | 'first' | 'insert'
  readonly name: string
  readonly number: number
  readonly bytes: readonly ByteEdit[]
}

export interface PngCase {
  readonly width: number
  readonly height: number
  readonly bits: number
  readonly colourType: number
  readonly compression: number
  readonly filter: number
  readonly interlace: number
  /** Rows that really are there, of so many bytes. */
  readonly rows: number
  readonly rowBytes: number
  readonly ink: number
  readonly chunks: readonly ChunkEdit[]
  readonly trueSums: boolean
  readonly bytes: readonly ByteEdit[]
}

const names = [
  'IHDR',
  'IDAT',
  'IEND',
  'tRNS',
  'acTL',
  'fcTL',
  'fdAT',
  'PLTE',
  'iCCP',
  'zTXt',
  'eXIf',
  'gAMA',
  'pHYs',
  'sBIT',
  'abcd',
]
const edge32 = edgeNumber.map((value) => Number(BigInt.asUintN(32, value)))

const chunkEdit: fc.Arbitrary<ChunkEdit> = fc.record({
  at: place,
  what: fc.constantFrom<ChunkEdit['what']>('length', 'name', 'drop', 'repeat', 'data', 'first', 'insert'),
  name: fc.oneof(fc.constantFrom(...names), fc.string({ minLength: 4, maxLength: 4 })),
  number: fc.oneof(edge32, fc.nat(3_000)),
  bytes: fc.array(byteEdit, { minLength: 1, maxLength: 3 }),
})

const side = fc.oneof(
  { weight: 8, arbitrary: fc.constantFrom(200, 120) },
  { weight: 3, arbitrary: fc.nat(400) },
  { weight: 2, arbitrary: edge32 },
  { weight: 2, arbitrary: fc.constantFrom(65_535, 65_536, 60_000, 16_384, 4_096, 100_000) },
)
const rarely = <T>(usual: T, ...others: readonly T[]): fc.Arbitrary<T> =>
  fc.oneof({ weight: 5, arbitrary: fc.constant(usual) }, { weight: 1, arbitrary: fc.constantFrom(...others) })

export const pngCase: fc.Arbitrary<PngCase> = fc.record({
  width: fc.oneof({ weight: 5, arbitrary: fc.constant(200) }, { weight: 2, arbitrary: side }),
  height: fc.oneof({ weight: 5, arbitrary: fc.constant(120) }, { weight: 2, arbitrary: side }),
  bits: rarely(8, 1, 2, 4, 16, 0, 3, 32, 255),
  colourType: rarely(0, 2, 3, 4, 6, 1, 7, 255),
  compression: rarely(0, 1, 255),
  filter: rarely(0, 1, 255),
  interlace: rarely(0, 1, 2, 255),
  rows: rarely(120, 0, 1, 119, 121, 4_000),
  rowBytes: rarely(200, 0, 25, 400, 199, 600),
  ink: fc.constantFrom(0, 1, 255),
  chunks: fc.oneof(
    { weight: 2, arbitrary: fc.constant([]) },
    { weight: 3, arbitrary: fc.array(chunkEdit, { minLength: 1, maxLength: 4 }) },
  ),
  trueSums: fc.oneof({ weight: 6, arbitrary: fc.constant(true) }, { weight: 1, arbitrary: fc.constant(false) }),
  bytes: fc.oneof(
    { weight: 3, arbitrary: fc.constant([]) },
    { weight: 2, arbitrary: fc.array(byteEdit, { minLength: 1, maxLength: 4 }) },
  ),
})

interface Chunk {
  name: string
  data: Buffer
  /** As stated, where that is not the true one. */
  length?: number
}

function spellChunk({ name, data, length = data.length }: Chunk, trueSum: boolean): Buffer {
  const body = Buffer.concat([Buffer.from(name.padEnd(4, 'x'), 'latin1').subarray(0, 4), data])
  const framed = Buffer.alloc(body.length + 8)
  framed.writeUInt32BE(length >>> 0, 0)
  body.copy(framed, 4)
  framed.writeUInt32BE(trueSum ? crc32(body) : 1, body.length + 4)
  return framed
}

function chunksOf(one: PngCase): Chunk[] {
  const head = Buffer.alloc(13)
  head.writeUInt32BE(one.width, 0)
  head.writeUInt32BE(one.height, 4)
  head.set([one.bits, one.colourType, one.compression, one.filter, one.interlace], 8)
  const row = Buffer.alloc(one.rowBytes + 1, one.ink)
  row[0] = 0
  const rows = Buffer.concat(Array<Buffer>(one.rows).fill(row))
  return [
    { name: 'IHDR', data: head },
    { name: 'IDAT', data: deflateSync(rows, { level: 1 }) },
    { name: 'IEND', data: Buffer.alloc(0) },
  ]
}

function editChunks(chunks: Chunk[], { at, what, name, number, bytes }: ChunkEdit): void {
  const i = placeIn(at, chunks.length)
  const chunk = chunks[i]
  if (!chunk) return
  if (what === 'length') chunk.length = number
  else if (what === 'name') chunk.name = name
  else if (what === 'drop') chunks.splice(i, 1)
  else if (what === 'repeat') chunks.splice(i, 0, ...Array<Chunk>(1 + (number % 50)).fill(chunk))
  else if (what === 'data') chunk.data = editBytes(chunk.data, bytes)
  else if (what === 'first') chunks.unshift(...chunks.splice(i, 1))
  else chunks.splice(i, 0, { name, data: Buffer.alloc(number % 5_000, at & 0xff) })
}

export function spellPng(one: PngCase): Buffer {
  const chunks = chunksOf(one)
  for (const edit of one.chunks) editChunks(chunks, edit)
  const file = [Buffer.from('89504e470d0a1a0a', 'hex'), ...chunks.map((chunk) => spellChunk(chunk, one.trueSums))]
  return editBytes(Buffer.concat(file), one.bytes)
}
