// How far a label travels between the reading of its code and the stations, and how long the roll is.
import { toFrame } from '../../packages/index.ts'
import type { FrozenJob } from '../freeze.ts'
import { orientationOf } from '../orientation/index.ts'
import type { LineProfile, LineStation } from '../profile.ts'
import type { Ticket } from '../ticket.ts'
import type { Extent } from './result.ts'
import { cellsOnRoll } from './spread.ts'
import { rollLengthM } from './winding.ts'

interface Inquiry {
  readonly ticket: Ticket
  readonly line: LineProfile
  readonly job: FrozenJob
}

// From a label's leading edge to the far edge of its code, along the travel, at the worst cell; less than 0 where the code runs ahead.
function codeOffsetMm({ ticket, line, job }: Inquiry): number {
  const { codeAt } = job.frame
  const orientation = orientationOf({ ticket, line, frame: job.frame })
  const isTurned = orientation.kind === 'possible' && orientation.frameTurnDeg === 180
  const offsets = cellsOnRoll(job, ticket).map((cell) => {
    const code = codeAt.from === 'frame' ? codeAt : toFrame(cell, codeAt)
    return isTurned ? cell.topMm + cell.heightMm - code.topMm : code.topMm + code.heightMm - cell.topMm
  })
  return Math.max(...offsets)
}

const wayTo = (inquiry: Inquiry, stations: readonly LineStation[], spentMm: number): number =>
  Math.min(...stations.map(({ distanceMm, handlingMm }) => distanceMm - handlingMm.atHand)) -
  codeOffsetMm(inquiry) -
  spentMm

/**
 * Web travel from the reading of a code to the point of no return, mm; less than 0 where there is none. `answerWayMm` to the first
 * station that can skip (where none can, the first of all), less code offset, handling (at hand) and lag. `stopWayMm`, where a stop must
 * come before a label: to the first station in use that can't skip; on a regulated ticket to the first station of all.
 */
export function waysOf(inquiry: Inquiry & { readonly used: readonly LineStation[] }): {
  readonly answerWayMm: number
  readonly stopWayMm?: number
} {
  const { line, ticket, used } = inquiry
  const lagMm = line.reading?.lagMm ?? 0
  const skipping = line.stations.filter(({ skips }) => skips)
  const answerWayMm = wayTo(inquiry, skipping.length > 0 ? skipping : line.stations, lagMm)
  const unskipping = used.filter(({ skips }) => !skips)
  const stopsBefore = ticket.regulated ? line.stations : unskipping
  return { answerWayMm, ...(stopsBefore.length > 0 ? { stopWayMm: wayTo(inquiry, stopsBefore, lagMm) } : {}) }
}

// m of web on the roll, where it is stated or can be measured by its diameter.
function materialM({
  thicknessMm,
  material,
}: Ticket): { readonly lengthM: number; readonly from: Extent['from'] } | undefined {
  if (material?.lengthM !== undefined) return { lengthM: material.lengthM, from: 'material' }
  const { diameterMm, coreOuterMm } = material ?? {}
  if (diameterMm === undefined || coreOuterMm === undefined || thicknessMm === undefined) return undefined
  return { lengthM: rollLengthM({ diameterMm, coreOuterMm, thicknessMm }), from: 'diameter' }
}

/** How many frames the run proper has: the first of what-if, sequence, ticket, the roll's stated length, its diameters. */
export function extentOf(
  { ticket, job }: Inquiry,
  given: { readonly whatIf?: number | undefined; readonly sequence?: number | undefined },
): Extent | undefined {
  const { pitchMm } = job.frame
  const setUpM = ticket.setUpM ?? 0
  const cellsPerFrame = cellsOnRoll(job, ticket).length
  const extent = (frames: number, from: Extent['from']): Extent => {
    const runM = (frames * pitchMm) / 1000
    return { frames, from, pitchMm, cellsPerFrame, labels: frames * cellsPerFrame, runM, setUpM, webM: runM + setUpM }
  }
  if (given.whatIf !== undefined) return extent(given.whatIf, 'what-if')
  if (given.sequence !== undefined) return extent(given.sequence, 'sequence')
  if (ticket.expectedFrames !== undefined) return extent(ticket.expectedFrames, 'ticket')
  const material = materialM(ticket)
  if (!material) return undefined
  // What set-up takes is on the same roll.
  return extent(Math.max(0, Math.floor(((material.lengthM - setUpM) * 1000) / pitchMm + 1e-6)), material.from)
}
