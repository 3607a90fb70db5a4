// What ticket and line say of the roll on the unwinder: the edge that leads and the face, by name or by a number of a chart.
import type { LineProfile } from '../profile.ts'
import type { Ticket } from '../ticket.ts'
import { type Edge, type Face, type Impossible, impossible } from './orientation.ts'

export type TicketOfUnwind = Pick<Ticket, 'leadEdge' | 'unwind' | 'material'>
export type LineOfUnwind = Pick<LineProfile, 'line' | 'unwind' | 'charts'>

interface Unwind {
  readonly kind: 'known'
  readonly leadEdge?: Edge
  readonly face?: Face
}

interface ChartPosition {
  readonly kind: 'position'
  readonly leadEdge: Edge
  readonly face: Face
}

const listed = (names: readonly (string | number)[]): string => (names.length > 0 ? names.join(', ') : 'none')

function positionOf(unwind: NonNullable<Ticket['unwind']>, line: LineOfUnwind): ChartPosition | Impossible {
  const charts = line.charts ?? []
  const positions = charts.filter(({ chart }) => chart === unwind.chart).flatMap(({ positions }) => positions)
  const [first, ...others] = positions.filter(({ number }) => number === unwind.number)
  if (positions.length === 0) {
    const known = listed(charts.map(({ chart }) => chart))
    return impossible(
      'chart-unknown',
      `line ${line.line} goes by no chart ${unwind.chart} (it has: ${known}); name one of its charts, or say leadEdge and material.face`,
    )
  }
  if (!first) {
    const known = listed(positions.map(({ number }) => number))
    return impossible(
      'chart-number-unknown',
      `chart ${unwind.chart} of line ${line.line} has no position ${unwind.number} (it has: ${known}); name one of these, or say leadEdge and material.face`,
    )
  }
  if (others.some(({ leadEdge, face }) => leadEdge !== first.leadEdge || face !== first.face)) {
    return impossible(
      'chart-contradicts-itself',
      `chart ${unwind.chart} of line ${line.line} gives position ${unwind.number} two meanings; mend the line profile`,
    )
  }
  return { kind: 'position', leadEdge: first.leadEdge, face: first.face }
}

const path = { out: 'over', in: 'under' } as const

function faceDown(face: Face, { line, unwind }: LineOfUnwind): Impossible | undefined {
  const faces = unwind?.faces
  if (!faces || faces.includes(face)) return undefined
  const other = face === 'out' ? 'in' : 'out'
  return impossible(
    'runs-face-down',
    `the roll is wound face ${face}, and line ${line} unwinds only ${path[other]}: the print would run face down. ` +
      `Rewind it to face ${other} (with the path changed), or, where the roll can be threaded ${path[face]}, add "${face}" to unwind.faces of the line`,
  )
}

/** Resolves names and chart numbers; what nobody says is absent. A line that takes one face only says it for the roll. */
export function unwindOf(ticket: TicketOfUnwind, line: LineOfUnwind): Unwind | Impossible {
  const position = ticket.unwind ? positionOf(ticket.unwind, line) : undefined
  if (position?.kind === 'impossible') return position
  const said = ticket.material?.face
  if (said && position && said !== position.face) {
    return impossible(
      'face-contradicts-chart',
      `position ${ticket.unwind?.number} of chart ${ticket.unwind?.chart} is face ${position.face}, but material.face of the ticket says ${said}; look at the roll and leave one of them out`,
    )
  }
  const faces = [...new Set(line.unwind?.faces ?? [])]
  const face = said ?? position?.face ?? (faces.length === 1 ? faces[0] : undefined)
  const refused = face && faceDown(face, line)
  if (refused) return refused
  const leadEdge = position?.leadEdge ?? ticket.leadEdge
  return { kind: 'known', ...(leadEdge ? { leadEdge } : {}), ...(face ? { face } : {}) }
}
