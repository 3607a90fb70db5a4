// From a ticket, a line and the job's frame to how the roll runs, or to the reason why no roll can run so. Face up under the head there
// are no mirror images: a frame runs as printed or turned by half a turn, nothing else (DESIGN §6).
import type { ManifestFrame } from '../../packages/index.ts'
import type { Ticket } from '../ticket.ts'
import { asPrinted, counted, halfTurned, lowestIsRight, onGrid } from './cells.ts'
import { edgeAt, sideOf } from './edges.ts'
import { type Edge, type Impossible, impossible, type Orientation, type QuarterTurn } from './orientation.ts'
import { type LineOfUnwind, type TicketOfUnwind, unwindOf } from './unwind.ts'

export interface OrientationInquiry {
  readonly ticket: TicketOfUnwind & Pick<Ticket, 'direction' | 'lanesMirrored' | 'cells'>
  readonly line: LineOfUnwind
  readonly frame: Pick<ManifestFrame, 'pitchMm' | 'webWidthMm' | 'cells'>
}

type Cells = ManifestFrame['cells']

function cellsOnRoll({ ticket, frame }: OrientationInquiry): Cells | Impossible {
  const wanted = ticket.cells
  if (!wanted) return frame.cells
  const known = new Set(frame.cells.map(({ cell }) => cell))
  const missing = wanted.filter((cell) => !known.has(cell))
  if (missing.length > 0) {
    return impossible(
      'cell-not-in-frame',
      `the frame has no cell ${missing.join(', ')} (it has: ${[...known].join(', ')}); name the cells that are on the roll in cells of the ticket`,
    )
  }
  return frame.cells.filter(({ cell }) => wanted.includes(cell))
}

const firstOf = (cells: Cells): Cells[number] | undefined => cells.toSorted((a, b) => a.cell - b.cell)[0]

function turnOf(leadEdge: Edge, first: Cells[number]): 0 | 180 | Impossible {
  const rotateDeg = first.rotateDeg as QuarterTurn
  const side = sideOf(leadEdge, rotateDeg)
  if (side === 'top') return 0
  if (side === 'bottom') return 180
  const can = [edgeAt('top', rotateDeg), edgeAt('bottom', rotateDeg)]
  return impossible(
    'lead-edge-at-side',
    `the ${leadEdge} edge of the label in cell ${first.cell} lies at the ${side} side of the web as printed and cannot lead; ` +
      `look at the roll: it is the ${can.join(' or the ')} edge, as one reads that label`,
  )
}

const sideWord = (isRight: boolean): string => (isRight ? 'right' : 'left')

function lanesContradict(said: boolean | undefined, orientation: Orientation): Impossible | undefined {
  const is = lowestIsRight(orientation.cells)
  if (said === undefined || is === undefined || said === is) return undefined
  const lane = Math.min(...orientation.cells.map((cell) => cell.lane))
  return impossible(
    'lanes-contradict-turn',
    `face up there are no mirror images: with the ${orientation.leadEdge} edge of the labels first, lane ${lane} is on the ${sideWord(is)} ` +
      `looking along the travel, but the ticket says that it was seen on the ${sideWord(said)} (lanesMirrored); ` +
      'look again which edge leads, and whether the print is up',
  )
}

/**
 * How the roll of a ticket runs into a line. Pure. The edge that leads is that of the label in the roll's first cell (lowest number),
 * as one reads it; where ticket and chart name none, the frame runs top first.
 */
export function orientationOf(inquiry: OrientationInquiry): Orientation | Impossible {
  const { ticket, line, frame } = inquiry
  const cells = cellsOnRoll(inquiry)
  if ('kind' in cells) return cells
  const first = firstOf(cells)
  if (!first) return impossible('cell-not-in-frame', 'the frame has no cells')
  const unwind = unwindOf(ticket, line)
  if (unwind.kind === 'impossible') return unwind
  const leadEdge = unwind.leadEdge ?? edgeAt('top', first.rotateDeg as QuarterTurn)
  const frameTurnDeg = turnOf(leadEdge, first)
  if (typeof frameTurnDeg === 'object') return frameTurnDeg
  const size = { webWidthMm: onGrid(frame.webWidthMm), pitchMm: onGrid(frame.pitchMm) }
  const printed = cells.map(asPrinted)
  const travelling = counted(frameTurnDeg === 180 ? printed.map((cell) => halfTurned(cell, size)) : printed)
  const orientation: Orientation = {
    kind: 'possible',
    frameTurnDeg,
    direction: ticket.direction,
    ...(unwind.face ? { face: unwind.face } : {}),
    leadEdge,
    lanesMirrored: lowestIsRight(travelling) ?? frameTurnDeg === 180,
    ...size,
    cells: travelling,
  }
  return lanesContradict(ticket.lanesMirrored, orientation) ?? orientation
}
