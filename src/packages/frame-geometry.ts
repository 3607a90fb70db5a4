// Geometry of the frame (DESIGN §6): origin at the upper left as printed, x across, y along, lengths in mm. A cell's label has axes of
// its own: the label turned clockwise by the cell's `rotateDeg` fills the cell.
import type { ManifestCell, ManifestFrame } from './manifest.ts'

export interface RectMm {
  readonly leftMm: number
  readonly topMm: number
  readonly widthMm: number
  readonly heightMm: number
}

/** Lengths closer than this are equal; it covers rounding of decimals, nothing else. */
export const toleranceMm = 1e-6

export const rightMm = (rect: RectMm): number => rect.leftMm + rect.widthMm
export const bottomMm = (rect: RectMm): number => rect.topMm + rect.heightMm

export const grown = (rect: RectMm, byMm: number): RectMm => ({
  leftMm: rect.leftMm - byMm,
  topMm: rect.topMm - byMm,
  widthMm: rect.widthMm + 2 * byMm,
  heightMm: rect.heightMm + 2 * byMm,
})

export const moved = (rect: RectMm, { acrossMm, alongMm }: { acrossMm: number; alongMm: number }): RectMm => ({
  ...rect,
  leftMm: rect.leftMm + acrossMm,
  topMm: rect.topMm + alongMm,
})

/** Whether two rectangles share an area (touching edges share none). */
export const overlaps = (a: RectMm, b: RectMm): boolean =>
  a.leftMm < rightMm(b) - toleranceMm &&
  b.leftMm < rightMm(a) - toleranceMm &&
  a.topMm < bottomMm(b) - toleranceMm &&
  b.topMm < bottomMm(a) - toleranceMm

/** How far a rectangle reaches beyond another at the worst side, mm; 0 or less when it lies inside. */
export const overhangMm = (inner: RectMm, outer: RectMm): number =>
  Math.max(
    outer.leftMm - inner.leftMm,
    outer.topMm - inner.topMm,
    rightMm(inner) - rightMm(outer),
    bottomMm(inner) - bottomMm(outer),
  )

export const liesWithin = (inner: RectMm, outer: RectMm): boolean => overhangMm(inner, outer) <= toleranceMm

export const frameRect = (frame: ManifestFrame): RectMm => ({
  leftMm: 0,
  topMm: 0,
  widthMm: frame.webWidthMm,
  heightMm: frame.pitchMm,
})

const isQuarterTurned = (cell: ManifestCell): boolean => cell.rotateDeg === 90 || cell.rotateDeg === 270

/** The label's own rectangle, in its own axes. */
export const labelRect = (cell: ManifestCell): RectMm => ({
  leftMm: 0,
  topMm: 0,
  widthMm: isQuarterTurned(cell) ? cell.heightMm : cell.widthMm,
  heightMm: isQuarterTurned(cell) ? cell.widthMm : cell.heightMm,
})

/** A rectangle in a label's axes, as it lies in the frame. */
export function toFrame(cell: RectMm & Pick<ManifestCell, 'rotateDeg'>, rect: RectMm): RectMm {
  const { widthMm, heightMm } = rect
  const turned = { widthMm: heightMm, heightMm: widthMm }
  const right = cell.leftMm + cell.widthMm
  const bottom = cell.topMm + cell.heightMm
  switch (cell.rotateDeg) {
    case 0:
      return { leftMm: cell.leftMm + rect.leftMm, topMm: cell.topMm + rect.topMm, widthMm, heightMm }
    case 90:
      return { leftMm: right - bottomMm(rect), topMm: cell.topMm + rect.leftMm, ...turned }
    case 180:
      return { leftMm: right - rightMm(rect), topMm: bottom - bottomMm(rect), widthMm, heightMm }
    case 270:
      return { leftMm: cell.leftMm + rect.topMm, topMm: bottom - rightMm(rect), ...turned }
  }
}

/** A rectangle in the frame, as seen in a label's axes: the inverse of `toFrame`. */
export function toLabel(cell: ManifestCell, rect: RectMm): RectMm {
  const { widthMm, heightMm } = rect
  const turned = { widthMm: heightMm, heightMm: widthMm }
  const right = cell.leftMm + cell.widthMm
  const bottom = cell.topMm + cell.heightMm
  switch (cell.rotateDeg) {
    case 0:
      return { leftMm: rect.leftMm - cell.leftMm, topMm: rect.topMm - cell.topMm, widthMm, heightMm }
    case 90:
      return { leftMm: rect.topMm - cell.topMm, topMm: right - rightMm(rect), ...turned }
    case 180:
      return { leftMm: right - rightMm(rect), topMm: bottom - bottomMm(rect), widthMm, heightMm }
    case 270:
      return { leftMm: bottom - bottomMm(rect), topMm: rect.leftMm - cell.leftMm, ...turned }
  }
}
