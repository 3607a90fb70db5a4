// The web of the gins: three lanes of bottle labels in three sizes, two rows a mark. The middle lane lies on its side, and the last
// miniature stands on its head, so that its neck end meets the other's. All in mm.
import type { DemoCell, DemoFrame } from '../web.ts'

export const bleedMm = 1

/** Size of a label as one reads it. */
export const labelSizeMm = {
  large: { widthMm: 66, heightMm: 44 },
  medium: { widthMm: 44, heightMm: 36 },
  small: { widthMm: 30, heightMm: 40 },
} as const
export type LabelSize = keyof typeof labelSizeMm

const lanes = [
  { size: 'large', leftMm: 9, topMm: 4, rotateDeg: [0, 0] },
  { size: 'medium', leftMm: 79, topMm: 4, rotateDeg: [90, 90] },
  { size: 'small', leftMm: 119, topMm: 6, rotateDeg: [0, 180] },
] as const

const rowPitchMm = 48

/** From lane to lane in the first row, then in the second. */
const cells: readonly DemoCell[] = [0, 1].flatMap((row) =>
  lanes.map(({ size, leftMm, topMm, rotateDeg }, index) => {
    const { widthMm, heightMm } = labelSizeMm[size]
    const lies = rotateDeg[row] === 90
    return {
      cell: row * lanes.length + index + 1,
      lane: index + 1,
      row: row + 1,
      leftMm,
      topMm: topMm + row * rowPitchMm,
      widthMm: lies ? heightMm : widthMm,
      heightMm: lies ? widthMm : heightMm,
      rotateDeg: rotateDeg[row] ?? 0,
      bleedMm,
    }
  }),
)

/** Size of the label in each cell. */
export const sizeOf = (cell: number): LabelSize => lanes[(cell - 1) % lanes.length]?.size ?? 'large'

/** Modules along a side of the Data Matrix symbol that holds 24 capitals and digits (ISO/IEC 16022: 18 data codewords). */
export const codeSide = 18

export const webFrame: DemoFrame = {
  pitchMm: 100,
  webWidthMm: 160,
  cells,
  // 18 modules of 0.5 mm; Data Matrix wants one module of quiet zone, the press leaves two.
  codeAt: { identifies: 'cell', from: 'cell', leftMm: 4, topMm: 4, widthMm: 9, heightMm: 9, quietMm: 1 },
  eyeMark: { leftMm: 1.5, topMm: 3, widthMm: 5, heightMm: 3 },
  substrates: ['cotton-felt-110', 'coated-white-85'],
}
