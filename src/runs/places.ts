// What happened at each (place, cell) of the material, in flat arrays: 13 bytes a label. It tells a label that was laid before the
// web was backed up, and a text that contradicts what was read there before.
import { assert } from '../kernel/assert.ts'

const placeStates = ['nothing', 'skipped', 'lay', 'revoked', 'none'] as const
export type PlaceState = (typeof placeStates)[number]

const grow = <T extends Uint8Array | Int32Array | Float64Array>(from: T, into: T): T => {
  into.set(from)
  return into
}

/** Slots for `cellCount` cells a place; grows with the highest place seen. */
export class PlaceTable {
  private readonly cellCount: number
  private states = new Uint8Array(4096)
  private textHashes = new Int32Array(4096)
  private answers = new Int32Array(4096)
  private versions = new Int32Array(4096)

  constructor(cellCount: number) {
    assert(cellCount > 0, 'a frame has cells')
    this.cellCount = cellCount
  }

  private slot(place: number, ordinal: number): number {
    assert(ordinal >= 0 && ordinal < this.cellCount, 'a cell ordinal lies within the frame')
    const slot = place * this.cellCount + ordinal
    while (slot >= this.states.length) {
      const size = this.states.length * 2
      this.states = grow(this.states, new Uint8Array(size))
      this.textHashes = grow(this.textHashes, new Int32Array(size))
      this.answers = grow(this.answers, new Int32Array(size))
      this.versions = grow(this.versions, new Int32Array(size))
    }
    return slot
  }

  state(place: number, ordinal: number): PlaceState {
    return placeStates[this.states[this.slot(place, ordinal)] ?? 0] ?? 'nothing'
  }

  /** Ledger index of the place's last answer; meaningful unless its state is `nothing`. */
  answer(place: number, ordinal: number): number {
    return this.answers[this.slot(place, ordinal)] ?? 0
  }

  /** Number of the version that the place was last answered lay with; 0 before. */
  version(place: number, ordinal: number): number {
    return this.versions[this.slot(place, ordinal)] ?? 0
  }

  putVersion(place: number, ordinal: number, version: number): void {
    this.versions[this.slot(place, ordinal)] = version
  }

  put(at: { place: number; ordinal: number; answer: number }, state: PlaceState): void {
    const slot = this.slot(at.place, at.ordinal)
    this.states[slot] = placeStates.indexOf(state)
    this.answers[slot] = at.answer
  }

  /** Whether another text was read at this place before. The hash is 32 bits: a contradiction is missed once in 4e9. */
  contradicts(place: number, ordinal: number, text: string): boolean {
    const known = this.textHashes[this.slot(place, ordinal)] ?? 0
    return known !== 0 && known !== textHash(text)
  }

  /** Keeps the first text read at a place; later ones are held against it. */
  noteText(place: number, ordinal: number, text: string): void {
    const slot = this.slot(place, ordinal)
    if (this.textHashes[slot] === 0) this.textHashes[slot] = textHash(text)
  }
}

/** FNV-1a, 32 bits; 0 stands for "nothing read". */
export function textHash(text: string): number {
  let hash = 0x811c9dc5 | 0
  for (let i = 0; i < text.length; i++) hash = Math.imul(hash ^ text.charCodeAt(i), 0x01000193)
  return hash === 0 ? 1 : hash
}
