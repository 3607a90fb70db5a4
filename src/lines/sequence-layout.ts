// For which labels a row of a sequence stands, by what the codes of the frame identify.
import type { ManifestFrame } from '../packages/index.ts'

export interface SequenceLayout {
  readonly identifies: ManifestFrame['codeAt']['identifies']
  /** On the roll, rising. */
  readonly cells: readonly number[]
  /** Cells of each lane on the roll, by rising lane. */
  readonly lanes: readonly (readonly number[])[]
}

/** The layout of a frame on a roll that carries these cells; absent: all of them. */
export function layoutOf(frame: Pick<ManifestFrame, 'cells' | 'codeAt'>, onRoll?: readonly number[]): SequenceLayout {
  const cells = frame.cells.filter(({ cell }) => !onRoll || onRoll.includes(cell)).toSorted((a, b) => a.cell - b.cell)
  const lanes = [...new Set(cells.map(({ lane }) => lane))].toSorted((a, b) => a - b)
  return {
    identifies: frame.codeAt.identifies,
    cells: cells.map(({ cell }) => cell),
    lanes: lanes.map((lane) => cells.filter((row) => row.lane === lane).map(({ cell }) => cell)),
  }
}

/** How many rows of a position may leave their cell out: one for the frame, or one a lane. */
export function rowsWithoutCell({ identifies, cells, lanes }: SequenceLayout): number {
  if (identifies === 'lane') return lanes.length
  return identifies === 'frame' || cells.length === 1 ? 1 : 0
}

const none: readonly number[] = []

/** Which cells a row says something of: where its code stands for a lane or the frame, all of it, also where it names one cell. */
export function coveredBy(layout: SequenceLayout, row: { cell: number; ordinal: number }): readonly number[] {
  if (row.cell === 0 || layout.identifies === 'cell') return cellsOf(layout, row)
  if (layout.identifies === 'frame') return layout.cells
  return layout.lanes.find((lane) => lane.includes(row.cell)) ?? none
}

/**
 * The cells of the labels that a row stands for: its cell; without one all cells of the frame, or of the lane where codes stand for
 * lanes. `ordinal` counts the rows of the position that leave their cell out, from 0: they go lane by lane.
 */
export function cellsOf(
  layout: SequenceLayout,
  { cell, ordinal }: { cell: number; ordinal: number },
): readonly number[] {
  if (cell !== 0) return [cell]
  return layout.identifies === 'lane' ? (layout.lanes[ordinal] ?? none) : layout.cells
}
