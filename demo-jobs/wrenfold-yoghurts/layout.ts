// The yoghurt label: 52 × 35 mm, picture on the left, lettering on the right, no code on it.
import type { LabelLayout } from '../label-layout.ts'
import { bleedMm, labelSizeMm } from './web.ts'

function outline(insetMm: number): string {
  const [near, right, bottom] = [3 + insetMm, 49 - insetMm, 32 - insetMm]
  return `M${near} ${near} H${right} V${bottom} H${near} Z`
}

export const potLayout: LabelLayout = {
  ...labelSizeMm,
  bleedMm,
  picture: { leftMm: 4.8, topMm: 6.4, widthMm: 21, heightMm: 21 },
  title: { xMm: 37.2, yMm: 8.6, capMm: 3.6, widthMmMax: 20 },
  subtitle: { xMm: 37.2, yMm: 15.6, capMm: 1.6, widthMmMax: 20 },
  brand: { xMm: 37.2, yMm: 20, capMm: 2.4, widthMmMax: 20 },
  net: { xMm: 37.2, yMm: 26.6, capMm: 1.7, widthMmMax: 20 },
  printMark: { xMm: 5, yMm: 33.2, capMm: 1.2, widthMmMax: 3 },
  outline,
  relief: { leftMm: 4, topMm: 5, widthMm: 44, heightMm: 23 },
  foil: { leftMm: 2, topMm: 2, widthMm: 48, heightMm: 31 },
  band: { leftMm: 28, rightMm: 46, aboveMm: 7.3, belowMm: 13.9, scallopsMm: 13.6 },
  star: 'M37.2 23.5 L37.48 24.2 L38.2 24.5 L37.48 24.8 L37.2 25.5 L36.92 24.8 L36.2 24.5 L36.92 24.2 Z',
  drops: [
    [5.6, 8.4, 0.8],
    [25, 24.6, 0.9],
    [25.4, 14.4, 0.6],
  ],
}
