// Which frame events a run takes: frame numbers rise, positions move as frames allow, cells exist. Checked for a whole request before
// anything is recorded.
import { canonicalText } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import type { EntryBodies } from '../ledger/index.ts'
import { demandNotLeft } from './material-places.ts'
import type { ReadBody, RunState } from './state.ts'
import { type FrameEvent, toFrameReads, toUm } from './wire.ts'

// Frames that a lost connection may hide while the web hardly moved (a short back-up and restart).
const hiddenFramesMax = 8

function checkCells(state: RunState, event: FrameEvent, pointer: string): void {
  event.reads.forEach((read, i) => {
    const place = { pointer: `${pointer}/reads/${i}` }
    if (read.cell != null && !state.cells.some((cell) => cell.cell === read.cell)) {
      throw new Problem('cell-unknown', `the run has no cell ${read.cell}`, { ...place, measured: read.cell })
    }
    if (read.lane != null && !state.cells.some((cell) => cell.lane === read.lane)) {
      throw new Problem('cell-unknown', `the run has no lane ${read.lane}`, { ...place, measured: read.lane })
    }
  })
}

// A trigger comes with each mark, so frames can't rise much faster than the web travels, and the web can't jump between two frames.
function checkLeap(
  state: RunState,
  event: FrameEvent,
  last: { frame: number; positionUm: number },
  pointer: string,
): void {
  if (state.leapAllowed && last.frame === state.lastFrame) return
  const gap = event.frame - last.frame
  const places = Math.round(Math.abs(toUm(event.positionMm) - last.positionUm) / state.pitchUm)
  const far = places > limits.frameLeapMax + gap
  const wild = gap - 1 > 2 * places + hiddenFramesMax || gap > limits.frameLeapMax
  if (far || wild) {
    throw new Problem(
      'frame-leap',
      `frame ${event.frame} comes ${gap} after frame ${last.frame}, but the web moved ${places} places; record a re-threading if that is right`,
      { pointer, measured: gap, limit: Math.min(limits.frameLeapMax, 2 * places + hiddenFramesMax + 1) },
    )
  }
}

const textOf = (event: FrameEvent): string => canonicalText({ at: toUm(event.positionMm), reads: toFrameReads(event) })

/**
 * Checks events against the run and one another. Problems: `cell-unknown`, `frame-order`, `frame-leap`, `frame-on-rest`, and
 * `frame-conflict` for one frame given twice with different content in the same request. Repeats of recorded frames are left to the caller.
 */
export function checkEvents(state: RunState, events: readonly FrameEvent[]): void {
  let last = { frame: state.lastFrame, positionUm: state.lastPositionUm }
  const given = new Map<number, FrameEvent>()
  events.forEach((event, i) => {
    const pointer = events.length > 1 ? `/${i}` : ''
    checkCells(state, event, pointer)
    const before = given.get(event.frame)
    if (before !== undefined) {
      if (textOf(before) !== textOf(event))
        throw new Problem('frame-conflict', `frame ${event.frame} comes twice in one request`, { pointer })
      return
    }
    given.set(event.frame, event)
    if (state.frames.has(event.frame)) return
    if (event.frame < last.frame) {
      throw new Problem('frame-order', `frame ${event.frame} comes after frame ${last.frame} and was never recorded`, {
        pointer,
        measured: event.frame,
        limit: last.frame + 1,
      })
    }
    checkLeap(state, event, last, pointer)
    demandNotLeft(state, toUm(event.positionMm), pointer)
    last = { frame: event.frame, positionUm: toUm(event.positionMm) }
  })
}

/** Whether an event says what was recorded for its frame. */
export function isRepeat(recorded: EntryBodies['frame'], event: FrameEvent, reads: readonly ReadBody[]): boolean {
  const spacing = event.markSpacingMm === undefined ? undefined : toUm(event.markSpacingMm)
  if (recorded.positionUm !== toUm(event.positionMm) || recorded.markSpacingUm !== spacing) return false
  return recorded.reads !== undefined && canonicalText(recorded.reads) === canonicalText(reads)
}
