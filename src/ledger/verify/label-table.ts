// What the verifier remembers of frames and labels, in numbers instead of objects: 8 bytes a frame, and 8 to 16 bytes a label.
import { limits } from '../../kernel/limits.ts'

const chunkFrames = 1_024

/** Frames in order of their rising numbers. */
export interface FrameTable {
  /** The highest frame number; −1 before the first frame. */
  readonly last: number
  /** Takes a frame that is higher than all before it. */
  add(frame: number): void
  /** Which frame in order of recording it is, from 0; undefined where it was never recorded. */
  ordinalOf(frame: number): number | undefined
}

export function createFrameTable(): FrameTable {
  let frames = new Float64Array(chunkFrames)
  let count = 0
  let recent = 0
  const search = (frame: number): number => {
    let [from, to] = [0, count]
    while (from < to) {
      const middle = (from + to) >>> 1
      if ((frames[middle] ?? 0) < frame) from = middle + 1
      else to = middle
    }
    return from
  }
  return {
    get last() {
      return count === 0 ? -1 : (frames[count - 1] ?? -1)
    },
    add(frame) {
      if (count === frames.length) {
        const grown = new Float64Array(count * 2)
        grown.set(frames)
        frames = grown
      }
      frames[count] = frame
      count += 1
    },
    ordinalOf(frame) {
      // A frame's labels are answered one after the other.
      if (count > 0 && frames[recent] === frame) return recent
      const at = search(frame)
      if (at >= count || frames[at] !== frame) return undefined
      recent = at
      return at
    },
  }
}

/** One label's cell in a frame of the table above. `cell` is 1 to `limits.cellsMax`. */
export interface LabelPlace {
  readonly ordinal: number
  readonly cell: number
}

export interface LabelState {
  /** Ledger index of the answer. */
  readonly answer: number
  readonly isLay: boolean
  readonly isRevoked: boolean
  readonly isReported: boolean
}

export interface LabelTable {
  get(label: LabelPlace): LabelState | undefined
  set(label: LabelPlace, state: LabelState): void
}

// One double holds the answer's index and three bits; zero is no answer. Exact up to an index of 2^49.
const scale = 16
const pack = (state: LabelState): number =>
  state.answer * scale + 1 + (state.isLay ? 2 : 0) + (state.isRevoked ? 4 : 0) + (state.isReported ? 8 : 0)

function unpack(packed: number): LabelState {
  const bits = packed % scale
  return {
    answer: (packed - bits) / scale,
    isLay: (bits & 2) !== 0,
    isRevoked: (bits & 4) !== 0,
    isReported: (bits & 8) !== 0,
  }
}

interface Chunk {
  readonly stride: number
  readonly labels: Float64Array
}

/** Labels by chunks of frames, each as wide as its highest cell needs, so that one wild cell number widens one chunk only. */
export function createLabelTable(): LabelTable {
  const chunks: (Chunk | undefined)[] = []
  const atOf = (chunk: Chunk, { ordinal, cell }: LabelPlace): number =>
    (ordinal % chunkFrames) * chunk.stride + cell - 1
  return {
    get(label) {
      const chunk = chunks[Math.floor(label.ordinal / chunkFrames)]
      if (chunk === undefined || label.cell > chunk.stride) return undefined
      const packed = chunk.labels[atOf(chunk, label)] ?? 0
      return packed === 0 ? undefined : unpack(packed)
    },
    set(label, state) {
      const number = Math.floor(label.ordinal / chunkFrames)
      const chunk = widened(chunks[number], label.cell)
      chunks[number] = chunk
      chunk.labels[atOf(chunk, label)] = pack(state)
    },
  }
}

function widened(chunk: Chunk | undefined, cell: number): Chunk {
  if (chunk !== undefined && cell <= chunk.stride) return chunk
  let stride = chunk?.stride ?? 1
  while (stride < cell) stride *= 2
  const labels = new Float64Array(chunkFrames * stride)
  if (chunk !== undefined) {
    for (let row = 0; row < chunkFrames; row += 1) {
      labels.set(chunk.labels.subarray(row * chunk.stride, (row + 1) * chunk.stride), row * stride)
    }
  }
  return { stride, labels }
}

export const isCell = (cell: number): boolean => cell >= 1 && cell <= limits.cellsMax
