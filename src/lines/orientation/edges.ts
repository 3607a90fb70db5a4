// Edges of a label against edges of the frame: a label turned clockwise in its cell carries its edges around with it.
import type { Edge, QuarterTurn } from './orientation.ts'

// Clockwise, from the top.
const edges = ['top', 'right', 'bottom', 'left'] as const satisfies readonly Edge[]

const stepped = (edge: Edge, quarters: number): Edge => edges[(edges.indexOf(edge) + quarters + 4) % 4] ?? edge

/** The side of the frame at which an edge of a label lies; a quarter turn brings the top edge to the right. */
export const sideOf = (edge: Edge, rotateDeg: QuarterTurn): Edge => stepped(edge, rotateDeg / 90)

/** The edge of a label that lies at a side of the frame: the inverse of `sideOf`. */
export const edgeAt = (side: Edge, rotateDeg: QuarterTurn): Edge => stepped(side, -rotateDeg / 90)

export const opposite = (edge: Edge): Edge => stepped(edge, 2)

export const turned = (rotateDeg: QuarterTurn, byDeg: 0 | 180): QuarterTurn =>
  ((rotateDeg + byDeg) % 360) as QuarterTurn
