// The cells of a run as the line meets them: travel from the eye mark to a label, its turn under the head, its point of no return.
import type { FrozenJob, LineProfile, Ticket } from '../lines/index.ts'
import { toUm } from './wire.ts'

export interface CellOfRun {
  readonly cell: number
  readonly lane: number
  readonly row: number
  /** Present where one code stands for several cells: then a serial is told apart by its cell. */
  readonly serialCell?: number
  readonly rotateDeg: 0 | 90 | 180 | 270
  /** From a frame's position to the label's point of no return, µm of web travel; may be negative. */
  readonly noReturnAfterUm: number
}

type Frame = FrozenJob['frame']

// Travel after which the first station that can skip must know; where none can, the first of all.
function travelUm(line: LineProfile): number {
  const skipping = line.stations.filter((station) => station.skips)
  const stations = skipping.length > 0 ? skipping : line.stations
  return Math.min(...stations.map((station) => toUm(station.distanceMm - station.handlingMm.atHand)))
}

// Travel from the eye mark's leading edge to the label's: both are measured along the frame as printed, y down; a web that runs
// bottom first meets lower edges first. Without an eye mark the frame's own edge stands for it.
function leadMm(frame: Frame, cell: Frame['cells'][number], turned: boolean): number {
  const mark = frame.eyeMark ?? { topMm: turned ? frame.pitchMm : 0, heightMm: 0 }
  return turned ? mark.topMm + mark.heightMm - (cell.topMm + cell.heightMm) : cell.topMm - mark.topMm
}

/** Cells in order of cell number. */
export function cellsOfRun(frame: Frame, ticket: Ticket, line: LineProfile): readonly CellOfRun[] {
  const travel = travelUm(line)
  const turned = ticket.leadEdge === 'bottom'
  return frame.cells
    .toSorted((a, b) => a.cell - b.cell)
    .map((cell) => ({
      cell: cell.cell,
      lane: cell.lane,
      row: cell.row,
      ...(frame.codeAt.identifies === 'cell' ? {} : { serialCell: cell.cell }),
      rotateDeg: ((cell.rotateDeg + (turned ? 180 : 0)) % 360) as CellOfRun['rotateDeg'],
      noReturnAfterUm: travel + toUm(leadMm(frame, cell, turned)),
    }))
}
