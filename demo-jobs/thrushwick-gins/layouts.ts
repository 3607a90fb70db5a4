// The gin labels' three sizes. All have the code in the upper left corner, where one place serves every size.
import type { LabelLayout } from '../label-layout.ts'
import { bleedMm, type LabelSize, labelSizeMm } from './web.ts'

const codePanel = { leftMm: 2.6, topMm: 2.6, widthMm: 11.8, heightMm: 14.4 } as const

/** A line round the label that steps round the code: from its edge to the label's, and how far down and right the code's corner is. */
const stepped =
  (edge: { nearMm: number; rightMm: number; bottomMm: number; stepRightMm: number; stepDownMm: number }) =>
  (insetMm: number): string => {
    const [near, right, bottom] = [edge.nearMm + insetMm, edge.rightMm - insetMm, edge.bottomMm - insetMm]
    const [stepRight, stepDown] = [edge.stepRightMm + insetMm, edge.stepDownMm + insetMm]
    return `M${stepRight} ${near} H${right} V${bottom} H${near} V${stepDown} H${stepRight} Z`
  }

export const layouts: Readonly<Record<LabelSize, LabelLayout>> = {
  large: {
    ...labelSizeMm.large,
    bleedMm,
    codePanel,
    picture: { leftMm: 28, topMm: 4.4, widthMm: 24, heightMm: 24 },
    title: { xMm: 33, yMm: 30, capMm: 4, widthMmMax: 50 },
    subtitle: { xMm: 10.6, yMm: 21.2, capMm: 1.6, widthMmMax: 12 },
    brand: { xMm: 33, yMm: 36.6, capMm: 2.4, widthMmMax: 34 },
    net: { xMm: 10.6, yMm: 24.4, capMm: 1.7, widthMmMax: 12 },
    printMark: { xMm: 5, yMm: 42.2, capMm: 1.2, widthMmMax: 3 },
    outline: stepped({ nearMm: 3, rightMm: 63, bottomMm: 41, stepRightMm: 17.4, stepDownMm: 18.6 }),
    relief: { leftMm: 4, topMm: 4, widthMm: 58, heightMm: 31 },
    foil: { leftMm: 2, topMm: 2, widthMm: 62, heightMm: 40 },
    band: { leftMm: 9, rightMm: 57, aboveMm: 28.9, belowMm: 35.3, scallopsMm: 35 },
  },
  medium: {
    ...labelSizeMm.medium,
    bleedMm,
    codePanel,
    picture: { leftMm: 20.6, topMm: 4, widthMm: 17, heightMm: 17 },
    title: { xMm: 22, yMm: 22.8, capMm: 3.2, widthMmMax: 34 },
    subtitle: { xMm: 10.4, yMm: 19.8, capMm: 1.2, widthMmMax: 11 },
    brand: { xMm: 22, yMm: 28, capMm: 1.9, widthMmMax: 26 },
    net: { xMm: 22, yMm: 31.1, capMm: 1.2, widthMmMax: 20 },
    printMark: { xMm: 4, yMm: 34.3, capMm: 1, widthMmMax: 3 },
    outline: stepped({ nearMm: 2.4, rightMm: 41.6, bottomMm: 33.6, stepRightMm: 17.4, stepDownMm: 18.6 }),
    relief: { leftMm: 4, topMm: 3.6, widthMm: 36, heightMm: 23 },
    foil: { leftMm: 1.6, topMm: 1.6, widthMm: 40.8, heightMm: 32.8 },
    band: { leftMm: 5, rightMm: 39, aboveMm: 21.9, belowMm: 27.2, scallopsMm: 26.9 },
  },
  small: {
    ...labelSizeMm.small,
    bleedMm,
    codePanel,
    picture: { leftMm: 9, topMm: 18.6, widthMm: 12, heightMm: 12 },
    title: { xMm: 15, yMm: 31.6, capMm: 2.2, widthMmMax: 22 },
    subtitle: { xMm: 22.4, yMm: 6, capMm: 1.1, widthMmMax: 8 },
    brand: { xMm: 15, yMm: 35.2, capMm: 1.3, widthMmMax: 20 },
    net: { xMm: 22.4, yMm: 9, capMm: 1.3, widthMmMax: 8 },
    printMark: { xMm: 3.6, yMm: 38.5, capMm: 0.9, widthMmMax: 3 },
    outline: stepped({ nearMm: 2.2, rightMm: 27.8, bottomMm: 37.8, stepRightMm: 17.2, stepDownMm: 17.6 }),
    relief: { leftMm: 3, topMm: 18, widthMm: 24, heightMm: 16.6 },
    foil: { leftMm: 1.4, topMm: 1.4, widthMm: 27.2, heightMm: 37.2 },
    band: { leftMm: 4, rightMm: 26, aboveMm: 31, belowMm: 34.6, scallopsMm: 34.3 },
  },
}
