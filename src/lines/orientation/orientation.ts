// How a roll runs into the line, as data: which edge leads, how far the frame is turned, where each cell then is.
import type { Ticket } from '../ticket.ts'

export type Edge = NonNullable<Ticket['leadEdge']>
export type Face = 'out' | 'in'
export type Direction = Ticket['direction']
export type QuarterTurn = 0 | 90 | 180 | 270

/** A cell as the web carries it: face up, seen from above, looking along the travel; the edge that leads is the upper one. */
export interface TravellingCell {
  readonly cell: number
  readonly lane: number
  readonly row: number
  /** Clockwise turn of the label's artwork as it travels, the cell's own turn included: how a stored layer is to be turned. */
  readonly rotateDeg: QuarterTurn
  /** Place of the cell's lane among the lanes of this roll, counted from the left looking along the travel, from 1. */
  readonly lineLane: number
  /** Which comes under the sensor first within its frame, by leading edges, from 1; cells side by side share a number. */
  readonly arrives: number
  /** From the upper left of the frame as it travels (the frame as printed, or that turned by half a turn), mm. */
  readonly leftMm: number
  readonly topMm: number
  readonly widthMm: number
  readonly heightMm: number
}

export interface Orientation {
  readonly kind: 'possible'
  /** Turn of the frame as it travels, against the frame as printed. */
  readonly frameTurnDeg: 0 | 180
  readonly direction: Direction
  /** How the roll is wound; absent where neither ticket nor line says it. */
  readonly face?: Face
  /** Edge of the label in the roll's first cell, as one reads it, that leads. */
  readonly leadEdge: Edge
  /** The roll's lowest lane is right of its highest, looking along the travel. */
  readonly lanesMirrored: boolean
  readonly webWidthMm: number
  readonly pitchMm: number
  /** Those on the roll, by cell number. */
  readonly cells: readonly TravellingCell[]
}

export const impossibleCodes = [
  'cell-not-in-frame',
  'chart-unknown',
  'chart-number-unknown',
  'chart-contradicts-itself',
  'face-contradicts-chart',
  'runs-face-down',
  'lead-edge-at-side',
  'lanes-contradict-turn',
  'passes-contradict',
  'cells-not-run-before',
] as const

/** What no roll can be: `message` says why, and what would mend it. */
export interface Impossible {
  readonly kind: 'impossible'
  readonly code: (typeof impossibleCodes)[number]
  readonly message: string
}

export const impossible = (code: Impossible['code'], message: string): Impossible => ({
  kind: 'impossible',
  code,
  message,
})
