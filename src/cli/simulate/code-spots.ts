// Where the codes of a frame stand: one spot a cell, a lane, or one for the frame.
import type { SequenceLayout } from '../../lines/index.ts'

export interface CodeSpot {
  /** The first of the cells that the code stands for. */
  readonly cell: number
  /** What a read of it names. */
  readonly of: { readonly cell?: number; readonly lane?: number }
}

export interface CodeSpots {
  readonly all: readonly CodeSpot[]
  /** The first cell that shares this cell's code. */
  firstOf(cell: number): number
}

/** `laneOf` gives the lane of a cell. */
export function codeSpots({ identifies, cells, lanes }: SequenceLayout, laneOf: (cell: number) => number): CodeSpots {
  const [first = 1] = cells
  if (identifies === 'cell') return { all: cells.map((cell) => ({ cell, of: { cell } })), firstOf: (cell) => cell }
  if (identifies === 'frame') return { all: [{ cell: first, of: {} }], firstOf: () => first }
  return {
    all: lanes.map(([cell = first]) => ({ cell, of: { lane: laneOf(cell) } })),
    firstOf: (cell) => lanes.find((lane) => lane.includes(cell))?.[0] ?? cell,
  }
}
