// The cells of a run as the line meets them: travel from the eye mark to a label, its turn under the head, its point of no return.
import { Problem } from '../kernel/problem.ts'
import { type FrozenJob, type LineProfile, type Orientation, orientationOf, type Ticket } from '../lines/index.ts'
import { toUm } from './wire.ts'

export interface CellOfRun {
  readonly cell: number
  readonly lane: number
  readonly row: number
  /** Present where one code stands for several cells: then a serial is told apart by its cell. */
  readonly serialCell?: number
  readonly rotateDeg: Orientation['cells'][number]['rotateDeg']
  /** From a frame's position to the label's point of no return, µm of web travel; may be negative. */
  readonly noReturnAfterUm: number
}

type Frame = FrozenJob['frame']

/** How far a frame may travel before a station must know of its first label. */
export interface StationNotice {
  readonly station: LineProfile['stations'][number]['station']
  readonly skips: boolean
  /** From a frame's position, with the layer at hand and when it is still to be fetched, µm of web travel. */
  readonly atHandUm: number
  readonly notAtHandUm: number
}

/** By station, in web order. `cells` are those of the run. */
export function noticeByStation(line: LineProfile, cells: readonly CellOfRun[]): readonly StationNotice[] {
  const first = Math.min(...cells.map((cell) => cell.noReturnAfterUm)) - travelUm(line)
  return line.stations.map(({ station, skips, distanceMm, handlingMm }) => ({
    station,
    skips,
    atHandUm: first + toUm(distanceMm - handlingMm.atHand),
    notAtHandUm: first + toUm(distanceMm - handlingMm.notAtHand),
  }))
}

// Travel after which the first station that can skip must know; where none can, the first of all.
function travelUm(line: LineProfile): number {
  const skipping = line.stations.filter((station) => station.skips)
  const stations = skipping.length > 0 ? skipping : line.stations
  return Math.min(...stations.map((station) => toUm(station.distanceMm - station.handlingMm.atHand)))
}

// Where the eye mark's leading edge is in the frame as it travels; without an eye mark the frame's own edge stands for it.
function markMm({ eyeMark, pitchMm }: Frame, { frameTurnDeg }: Orientation): number {
  if (!eyeMark) return 0
  return frameTurnDeg === 180 ? pitchMm - eyeMark.topMm - eyeMark.heightMm : eyeMark.topMm
}

/** How a run's roll runs. Problem `orientation-impossible`: nothing can be laid on a roll that no roll can be. */
export function demandOrientation(frame: Frame, ticket: Ticket, line: LineProfile): Orientation {
  const orientation = orientationOf({ ticket, line, frame })
  if (orientation.kind === 'possible') return orientation
  throw new Problem('orientation-impossible', `ticket ${ticket.ticket} on ${line.line}: ${orientation.message}`, {
    measured: orientation.code,
  })
}

/** Cells that are on the roll, in order of cell number. */
export function cellsOfRun(frame: Frame, ticket: Ticket, line: LineProfile): readonly CellOfRun[] {
  const travel = travelUm(line)
  const orientation = demandOrientation(frame, ticket, line)
  const mark = markMm(frame, orientation)
  return orientation.cells.map(({ cell, lane, row, rotateDeg, topMm }) => ({
    cell,
    lane,
    row,
    ...(frame.codeAt.identifies === 'cell' ? {} : { serialCell: cell }),
    rotateDeg,
    noReturnAfterUm: travel + toUm(topMm - mark),
  }))
}
