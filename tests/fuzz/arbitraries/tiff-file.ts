// TIFF and BigTIFF files (TIFF 6.0) as directory entries that may lie: about types, counts, offsets, and where the directory stands.
import { deflateSync } from 'node:zlib'
import fc from 'fast-check'
import { type ByteEdit, byteEdit, edgeNumber, editBytes, place, placeIn } from './byte-edits.ts'

interface EntryEdit {
  readonly at: number
  readonly what: 'tag' | 'type' | 'count' | 'value' | 'drop' | 'repeat' | 'outside'
  readonly number: bigint
  readonly tag: number
}

export interface TiffCase {
  readonly little: boolean
  readonly big: boolean
  readonly width: number
  readonly height: number
  readonly bits: number
  readonly compression: number
  readonly strips: number
  readonly directoryAt: bigint | undefined
  readonly next: bigint
  readonly count: number | undefined
  /** Further directories behind the first, alike. */
  readonly chain: number
  /** Further entries, each pointing at so many bytes of the file. */
  readonly crowd: number
  /** Bytes that mean nothing, behind the pixels. */
  readonly padding: number
  readonly entries: readonly EntryEdit[]
  readonly bytes: readonly ByteEdit[]
}

const tags = [
  256, 257, 258, 259, 262, 266, 273, 274, 277, 278, 279, 282, 284, 317, 320, 322, 323, 324, 325, 330, 338, 339, 34_377,
  34_675,
]
const rarely = <T>(usual: T, ...others: readonly T[]): fc.Arbitrary<T> =>
  fc.oneof({ weight: 5, arbitrary: fc.constant(usual) }, { weight: 1, arbitrary: fc.constantFrom(...others) })

const entryEdit: fc.Arbitrary<EntryEdit> = fc.record({
  at: place,
  what: fc.constantFrom<EntryEdit['what']>('tag', 'type', 'count', 'value', 'value', 'drop', 'repeat', 'outside'),
  number: edgeNumber,
  tag: fc.oneof(fc.constantFrom(...tags), fc.nat(0xffff)),
})
const edge32 = edgeNumber.map((value) => Number(BigInt.asUintN(32, value)))

export const tiffCase: fc.Arbitrary<TiffCase> = fc.record({
  little: fc.boolean(),
  big: fc.oneof({ weight: 3, arbitrary: fc.constant(false) }, { weight: 1, arbitrary: fc.constant(true) }),
  width: fc.oneof({ weight: 5, arbitrary: fc.constant(200) }, { weight: 1, arbitrary: edge32 }),
  height: fc.oneof({ weight: 5, arbitrary: fc.constant(120) }, { weight: 1, arbitrary: edge32 }),
  bits: rarely(8, 1, 2, 4, 16, 0, 32, 64),
  compression: rarely(1, 8, 8, 5, 32_773, 2, 3, 4, 7, 32_946, 50_000, 0),
  strips: rarely(1, 2, 120, 0, 5_000),
  directoryAt: fc.oneof({ weight: 8, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: edgeNumber }),
  next: fc.oneof({ weight: 8, arbitrary: fc.constant(0n) }, { weight: 1, arbitrary: edgeNumber }),
  count: fc.oneof({ weight: 8, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: edge32 }),
  chain: rarely(0, 0, 0, 1, 1_000, 20_000),
  crowd: rarely(0, 1, 50, 4_000),
  padding: rarely(0, 0, 0, 4_000_000),
  entries: fc.array(entryEdit, { maxLength: 5 }),
  bytes: fc.oneof(
    { weight: 3, arbitrary: fc.constant([]) },
    { weight: 2, arbitrary: fc.array(byteEdit, { minLength: 1, maxLength: 4 }) },
  ),
})

interface Entry {
  tag: number
  type: number
  count: bigint
  /** In place, or an offset. */
  value: bigint
}

interface Spelling {
  readonly little: boolean
  readonly word: 4 | 8
}

function number(value: bigint, bytes: number, { little }: Spelling): Buffer {
  const spelled = Buffer.alloc(bytes)
  for (let i = 0; i < bytes; i += 1) spelled[little ? i : bytes - 1 - i] = Number((value >> BigInt(8 * i)) & 0xffn)
  return spelled
}

const sizes = [0, 1, 1, 2, 4, 8]

// A value that is shorter than its field stands at the field's beginning.
function field(entry: Entry, spelling: Spelling): Buffer {
  const size = entry.count === 1n ? (sizes[entry.type] ?? spelling.word) : spelling.word
  return Buffer.concat([number(entry.value, size, spelling), Buffer.alloc(spelling.word)]).subarray(0, spelling.word)
}

function editEntries(entries: Entry[], { at, what, number: value, tag }: EntryEdit): void {
  const i = placeIn(at, entries.length)
  const entry = entries[i]
  if (!entry) return
  if (what === 'tag') entry.tag = tag
  else if (what === 'type') entry.type = Number(value & 0xffffn)
  else if (what === 'count') entry.count = value
  else if (what === 'value') entry.value = value
  else if (what === 'drop') entries.splice(i, 1)
  else if (what === 'repeat') entries.splice(i, 0, { ...entry })
  else Object.assign(entry, { count: 1_000n + (value & 0xffffn), value: value & 0xffffn })
}

function pixels({ compression, bits }: TiffCase): Buffer {
  const raw = Buffer.alloc(Math.ceil((200 * Math.min(bits, 64)) / 8) * 120, 0)
  raw.fill(255, Math.floor((raw.length * 2) / 3))
  return compression === 8 || compression === 32_946 ? deflateSync(raw, { level: 1 }) : raw
}

function directories(one: TiffCase, of: { entries: readonly Entry[]; at: number; spelling: Spelling }): Buffer[] {
  const { spelling } = of
  const count = number(BigInt(one.count ?? of.entries.length), one.big ? 8 : 2, spelling)
  const body = of.entries.map((entry) =>
    Buffer.concat([
      number(BigInt(entry.tag), 2, spelling),
      number(BigInt(entry.type), 2, spelling),
      number(entry.count, spelling.word, spelling),
      field(entry, spelling),
    ]),
  )
  const directory = Buffer.concat([count, ...body])
  const bytes = directory.length + spelling.word
  const most = Math.min(one.chain, Math.floor(8_000_000 / bytes))
  return Array.from({ length: most + 1 }, (_, i) => {
    const next = i < most ? BigInt(of.at + (i + 1) * bytes) : one.next
    return Buffer.concat([directory, number(next, spelling.word, spelling)])
  })
}

export function spellTiff(one: TiffCase): Buffer {
  const spelling: Spelling = { little: one.little, word: one.big ? 8 : 4 }
  const { word } = spelling
  const picture = pixels(one)
  const data = Buffer.concat([picture, Buffer.alloc(one.padding)])
  const headBytes = one.big ? 16 : 8
  const offsetsAt = headBytes + data.length
  const share = BigInt(Math.floor(picture.length / Math.max(1, one.strips)))
  const offsets = Array.from({ length: one.strips }, (_, i) =>
    number(BigInt(headBytes) + BigInt(i) * share, 4, spelling),
  )
  const lengths = Array.from({ length: one.strips }, () => number(share, 4, spelling))
  const lists = Buffer.concat([...offsets, ...lengths])
  const directoryAt = offsetsAt + lists.length
  const many = one.strips === 1 ? undefined : BigInt(offsetsAt)
  const short = (tag: number, value: number): Entry => ({
    tag,
    type: value > 0xffff ? 4 : 3,
    count: 1n,
    value: BigInt(value),
  })
  const entries: Entry[] = [
    short(256, one.width),
    short(257, one.height),
    short(258, one.bits),
    short(259, one.compression),
    short(262, 1),
    { tag: 273, type: 4, count: BigInt(one.strips), value: many ?? BigInt(headBytes) },
    short(277, 1),
    short(278, Math.ceil(120 / Math.max(1, one.strips))),
    { tag: 279, type: 4, count: BigInt(one.strips), value: many === undefined ? share : many + BigInt(4 * one.strips) },
    ...Array.from({ length: one.crowd }, (_, i) => ({
      tag: 40_000 + i,
      type: 1,
      count: BigInt(data.length),
      value: 8n,
    })),
  ]
  for (const edit of one.entries) editEntries(entries, edit)
  const head = one.big
    ? [number(43n, 2, spelling), number(8n, 2, spelling), number(0n, 2, spelling)]
    : [number(42n, 2, spelling)]
  const file = [
    Buffer.from(one.little ? 'II' : 'MM'),
    ...head,
    number(one.directoryAt ?? BigInt(directoryAt), word, spelling),
    data,
    lists,
    ...directories(one, { entries, at: directoryAt, spelling }),
  ]
  return editBytes(Buffer.concat(file), one.bytes)
}
