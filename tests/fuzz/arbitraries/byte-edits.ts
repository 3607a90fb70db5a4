// Edits of bytes that are sound to begin with. Places are shares of the length, so that an edit means something for any file and can be
// made up without knowing it.
import fc from 'fast-check'

export type ByteEdit =
  | { readonly edit: 'set'; readonly at: number; readonly value: number }
  | { readonly edit: 'flip'; readonly at: number; readonly bit: number }
  | { readonly edit: 'insert'; readonly at: number; readonly bytes: Uint8Array }
  | { readonly edit: 'delete'; readonly at: number; readonly count: number }
  | { readonly edit: 'repeat'; readonly at: number; readonly count: number; readonly times: number }
  | { readonly edit: 'move'; readonly at: number; readonly count: number; readonly to: number }
  | { readonly edit: 'cut'; readonly at: number }
  | NumberEdit

export interface NumberEdit {
  readonly edit: 'number'
  readonly at: number
  readonly width: 1 | 2 | 4 | 8
  readonly little: boolean
  readonly value: bigint
}

/** A share of a length, as a 32-bit number. */
export const place = fc.nat(0xffff_ffff)
/** The place that a share means, 0 to `length` − 1. */
export const placeIn = (share: number, length: number): number =>
  length === 0 ? 0 : Math.min(length - 1, Math.floor((share / 2 ** 32) * length))

/** Numbers at which arithmetic goes over: the edges of signs, of widths, of doubles, and small ones. */
export const edgeNumber: fc.Arbitrary<bigint> = fc.oneof(
  fc.constantFrom(
    0n,
    1n,
    2n,
    0x7fn,
    0x80n,
    0xffn,
    0x7fffn,
    0x8000n,
    0xffffn,
    0x10000n,
    0x7fff_ffffn,
    0x8000_0000n,
    0xffff_ffffn,
    0x1_0000_0000n,
    2n ** 53n - 1n,
    2n ** 53n,
    2n ** 63n - 1n,
    2n ** 63n,
    2n ** 64n - 1n,
  ),
  fc.bigInt(0n, 300n),
  fc.bigInt(0n, 2n ** 32n - 1n),
)

const width = fc.constantFrom(1 as const, 2 as const, 4 as const, 8 as const)
export const numberEdit: fc.Arbitrary<NumberEdit> = fc.record({
  edit: fc.constant('number' as const),
  at: place,
  width,
  little: fc.boolean(),
  value: edgeNumber,
})

export const byteEdit: fc.Arbitrary<ByteEdit> = fc.oneof(
  { weight: 4, arbitrary: fc.record({ edit: fc.constant('set' as const), at: place, value: fc.nat(255) }) },
  { weight: 2, arbitrary: fc.record({ edit: fc.constant('flip' as const), at: place, bit: fc.nat(7) }) },
  {
    weight: 2,
    arbitrary: fc.record({ edit: fc.constant('insert' as const), at: place, bytes: fc.uint8Array({ maxLength: 12 }) }),
  },
  { weight: 2, arbitrary: fc.record({ edit: fc.constant('delete' as const), at: place, count: fc.nat(200) }) },
  {
    weight: 1,
    arbitrary: fc.record({
      edit: fc.constant('repeat' as const),
      at: place,
      count: fc.integer({ min: 1, max: 200 }),
      times: fc.integer({ min: 1, max: 40 }),
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({ edit: fc.constant('move' as const), at: place, count: fc.nat(200), to: place }),
  },
  { weight: 1, arbitrary: fc.record({ edit: fc.constant('cut' as const), at: place }) },
  { weight: 3, arbitrary: numberEdit },
)

export const byteEdits = fc.array(byteEdit, { minLength: 1, maxLength: 6 })

function spellNumber({ width: bytes, little, value }: NumberEdit): Buffer {
  const spelled = Buffer.alloc(bytes)
  for (let i = 0; i < bytes; i += 1) {
    spelled[little ? i : bytes - 1 - i] = Number((value >> BigInt(8 * i)) & 0xffn)
  }
  return spelled
}

/** Writes a number over what stands at a place; what would reach beyond the end is left out. */
export function overwrite(bytes: Buffer, at: number, edit: NumberEdit): Buffer {
  const changed = Buffer.from(bytes)
  spellNumber(edit).copy(changed, at)
  return changed
}

function applyOne(bytes: Buffer, edit: ByteEdit): Buffer {
  const at = placeIn(edit.at, bytes.length)
  const changed = Buffer.from(bytes)
  switch (edit.edit) {
    case 'set':
      if (at < changed.length) changed[at] = edit.value
      return changed
    case 'flip':
      if (at < changed.length) changed[at] = changed[at]! ^ (1 << edit.bit)
      return changed
    case 'insert':
      return Buffer.concat([bytes.subarray(0, at), edit.bytes, bytes.subarray(at)])
    case 'delete':
      return Buffer.concat([bytes.subarray(0, at), bytes.subarray(at + edit.count)])
    case 'repeat': {
      const part = bytes.subarray(at, at + edit.count)
      return Buffer.concat([bytes.subarray(0, at), ...Array<Buffer>(edit.times).fill(part), bytes.subarray(at)])
    }
    case 'move': {
      const part = bytes.subarray(at, at + edit.count)
      const rest = Buffer.concat([bytes.subarray(0, at), bytes.subarray(at + edit.count)])
      const to = placeIn(edit.to, rest.length)
      return Buffer.concat([rest.subarray(0, to), part, rest.subarray(to)])
    }
    case 'cut':
      return bytes.subarray(0, at)
    case 'number':
      return overwrite(bytes, at, edit)
  }
}

export const editBytes = (bytes: Uint8Array, edits: readonly ByteEdit[]): Buffer =>
  edits.reduce(applyOne, Buffer.from(bytes))
