// What the webs of all demo jobs have in common: how a frame is described, how labels lie in it, and the camera above it.
import type { RegionMm } from './label-layout.ts'

export interface DemoCell extends RegionMm {
  readonly cell: number
  readonly lane: number
  readonly row: number
  /** Clockwise turn of the label within the frame. */
  readonly rotateDeg: 0 | 90 | 180 | 270
  readonly bleedMm: number
}

/** The manifest's `frame`. */
export interface DemoFrame {
  readonly pitchMm: number
  readonly webWidthMm: number
  readonly cells: readonly DemoCell[]
  readonly codeAt: RegionMm & {
    readonly identifies: 'cell' | 'frame'
    readonly from: 'cell' | 'frame'
    readonly quietMm: number
  }
  readonly eyeMark: RegionMm
  readonly substrates: readonly string[]
}

/** The line's camera: it sees one whole frame, since every web here has its eye mark 3 mm below the frame's upper edge. */
export const camera = { pxPerMm: 10, leftMm: 0, topMm: -3 } as const

export const px = (mm: number): number => Math.round(mm * camera.pxPerMm)

/** The box after the label that it stands on, `heightMm` high, was turned a quarter clockwise: its left edge becomes the upper one. */
const quarterTurn = (box: RegionMm, heightMm: number): RegionMm => ({
  leftMm: heightMm - box.topMm - box.heightMm,
  topMm: box.leftMm,
  widthMm: box.heightMm,
  heightMm: box.widthMm,
})

/** A box on a cell's label, as it lies in the frame. */
export function inFrame(cell: DemoCell, box: RegionMm): RegionMm {
  const lies = cell.rotateDeg % 180 !== 0
  let size = { across: lies ? cell.heightMm : cell.widthMm, along: lies ? cell.widthMm : cell.heightMm }
  let turned = box
  for (let deg = 0; deg < cell.rotateDeg; deg += 90) {
    turned = quarterTurn(turned, size.along)
    size = { across: size.along, along: size.across }
  }
  return { ...turned, leftMm: cell.leftMm + turned.leftMm, topMm: cell.topMm + turned.topMm }
}

/** One code as it is printed: on a cell's label, or, without a cell, once for the whole frame. */
export interface CodeSpot {
  readonly cell?: DemoCell
  /** In the frame. */
  readonly box: RegionMm
}

export function codeSpots({ cells, codeAt }: DemoFrame): readonly CodeSpot[] {
  const { leftMm, topMm, widthMm, heightMm } = codeAt
  const box = { leftMm, topMm, widthMm, heightMm }
  return codeAt.from === 'frame' ? [{ box }] : cells.map((cell) => ({ cell, box: inFrame(cell, box) }))
}
