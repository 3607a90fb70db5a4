// What happened to every label, as the simulator alone can know it, in flat arrays: about a dozen bytes a label, so that an hour of
// line fits. Frames are trigger ordinals; labels are (frame, cell ordinal).

import type { SkipReason } from '../../client/index.ts'

const skipReasons = [
  'no-answer',
  'answered',
  'revoked',
  'late',
  'overrun',
  'doubted',
] as const satisfies readonly SkipReason[]

/** Of a frame. */
const frameStates = ['unsent', 'sent', 'accepted', 'refused'] as const
type FrameState = (typeof frameStates)[number]

export interface Logbook {
  readonly frames: number
  /** Notes the next trigger; place −1 where the eye was deceived. */
  trigger(frame: number, place: number): void
  placeOf(frame: number): number
  /** Whether the frame is the one under which its place was seen first. */
  isFirstOf(frame: number): boolean
  setFrame(frame: number, state: FrameState): void
  frameState(frame: number): FrameState
  /** Notes an answer as it came; false where the label had another one. */
  received(frame: number, ordinal: number, ledgerIndex: number): boolean
  /** Ledger index of the answer that came; −1 for none. */
  answerOf(frame: number, ordinal: number): number
  /** Cells of the frame that have an answer. */
  answered(frame: number): number
  /** Notes that the head laid what an answer says. */
  laid(frame: number, ordinal: number, ledgerIndex: number): void
  laidBy(frame: number, ordinal: number): number
  /** Notes why the head let the label pass. */
  skipped(frame: number, ordinal: number, because: SkipReason): void
  skippedBecause(frame: number, ordinal: number): SkipReason | undefined
}

class Column<T extends Int32Array | Uint8Array> {
  private values: T
  private readonly make: (length: number) => T

  constructor(make: (length: number) => T) {
    this.make = make
    this.values = make(4_096)
  }

  get(at: number): number {
    return this.values[at] ?? 0
  }

  set(at: number, value: number): void {
    if (at >= this.values.length) {
      const grown = this.make(Math.max(at + 1, this.values.length * 2))
      grown.set(this.values)
      this.values = grown
    }
    this.values[at] = value
  }
}

const words = (): Column<Int32Array> => new Column((length) => new Int32Array(length))
export const byteColumn = (): Column<Uint8Array> => new Column((length) => new Uint8Array(length))

/** Opens an empty book for a run of so many cells a frame. */
export function openLogbook(cellCount: number): Logbook {
  // Kept one higher than they are, so that 0 stands for nothing.
  const places = words()
  const firsts = words()
  const states = byteColumn()
  const counts = byteColumn()
  const answers = words()
  const lays = words()
  const skips = byteColumn()
  let frames = 0
  const slot = (frame: number, ordinal: number): number => frame * cellCount + ordinal
  return {
    get frames() {
      return frames
    },
    trigger(frame, place) {
      places.set(frame, place + 2)
      if (place >= 0 && firsts.get(place) === 0) firsts.set(place, frame + 1)
      frames = Math.max(frames, frame + 1)
    },
    placeOf: (frame) => places.get(frame) - 2,
    isFirstOf: (frame) => firsts.get(places.get(frame) - 2) === frame + 1,
    setFrame: (frame, state) => states.set(frame, frameStates.indexOf(state)),
    frameState: (frame) => frameStates[states.get(frame)] ?? 'unsent',
    received(frame, ordinal, ledgerIndex) {
      const at = slot(frame, ordinal)
      const before = answers.get(at)
      if (before === 0) counts.set(frame, counts.get(frame) + 1)
      else if (before !== ledgerIndex + 1) return false
      answers.set(at, ledgerIndex + 1)
      return true
    },
    answerOf: (frame, ordinal) => answers.get(slot(frame, ordinal)) - 1,
    answered: (frame) => counts.get(frame),
    laid: (frame, ordinal, ledgerIndex) => lays.set(slot(frame, ordinal), ledgerIndex + 1),
    skipped: (frame, ordinal, because) => skips.set(slot(frame, ordinal), skipReasons.indexOf(because) + 1),
    skippedBecause: (frame, ordinal) => skipReasons[skips.get(slot(frame, ordinal)) - 1],
    laidBy: (frame, ordinal) => lays.get(slot(frame, ordinal)) - 1,
  }
}
