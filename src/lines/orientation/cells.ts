// Cells as the web carries them: turned with the frame, counted by lanes from the left and by arrival.
import type { ManifestCell, ManifestFrame } from '../../packages/index.ts'
import { turned } from './edges.ts'
import type { QuarterTurn, TravellingCell } from './orientation.ts'

type Placed = Omit<TravellingCell, 'lineLane' | 'arrives'>
type Size = Pick<ManifestFrame, 'webWidthMm' | 'pitchMm'>

/** Lengths on a grid of 1 nm: turning twice by half a turn then gives the very same numbers. Adding 0 makes a 0 of −0. */
export const onGrid = (mm: number): number => Math.round(mm * 1e6) / 1e6 + 0

/** A cell of the frame as printed. */
export const asPrinted = (cell: ManifestCell): Placed => ({
  cell: cell.cell,
  lane: cell.lane,
  row: cell.row,
  rotateDeg: cell.rotateDeg as QuarterTurn,
  leftMm: onGrid(cell.leftMm),
  topMm: onGrid(cell.topMm),
  widthMm: onGrid(cell.widthMm),
  heightMm: onGrid(cell.heightMm),
})

/** A cell in the frame turned by half a turn. */
export const halfTurned = (cell: Placed, { webWidthMm, pitchMm }: Size): Placed => ({
  ...cell,
  rotateDeg: turned(cell.rotateDeg, 180),
  leftMm: onGrid(webWidthMm - cell.leftMm - cell.widthMm),
  topMm: onGrid(pitchMm - cell.topMm - cell.heightMm),
})

// Lanes from left to right by the middle of their cells; where two have the same, by number.
function lanesFromLeft(cells: readonly Placed[]): number[] {
  const middles = new Map<number, number[]>()
  for (const { lane, leftMm, widthMm } of cells) {
    middles.set(lane, [...(middles.get(lane) ?? []), leftMm + widthMm / 2])
  }
  const mean = (lane: number): number => {
    const values = middles.get(lane) ?? []
    return onGrid(values.reduce((sum, value) => sum + value, 0) / values.length)
  }
  return [...middles.keys()].toSorted((a, b) => mean(a) - mean(b) || a - b)
}

/** Counts cells, which stand as they travel, by lanes and by arrival; by cell number. */
export function counted(cells: readonly Placed[]): readonly TravellingCell[] {
  const lanes = lanesFromLeft(cells)
  const tops = [...new Set(cells.map(({ topMm }) => topMm))].toSorted((a, b) => a - b)
  return cells
    .map((cell) => ({ ...cell, lineLane: lanes.indexOf(cell.lane) + 1, arrives: tops.indexOf(cell.topMm) + 1 }))
    .toSorted((a, b) => a.cell - b.cell)
}

/** Lanes of a roll from left to right, looking along the travel. */
export const lanesAlong = (cells: readonly TravellingCell[]): readonly number[] =>
  [...new Map(cells.map(({ lane, lineLane }) => [lineLane, lane])).entries()]
    .toSorted(([a], [b]) => a - b)
    .map(([, lane]) => lane)

/** Whether the lowest lane is right of the highest; undefined where there is one lane, which is on both sides. */
export function lowestIsRight(cells: readonly TravellingCell[]): boolean | undefined {
  const lanes = lanesAlong(cells)
  if (lanes.length < 2) return undefined
  return lanes.indexOf(Math.min(...lanes)) > lanes.indexOf(Math.max(...lanes))
}
