// The web that preserves and teas are printed on: four lanes, one row. All in mm.
import type { DemoFrame } from '../web.ts'

const laneLefts = [9, 60, 111, 162] as const

export const cellSizeMm = { width: 48, height: 54 } as const
export const bleedMm = 1

/** Where the code stands in each cell. 25 modules (QR version 2) of 0.4 mm; the quiet zone is four of them. */
export const codeAt = {
  identifies: 'cell',
  from: 'cell',
  leftMm: 34,
  topMm: 40,
  widthMm: 10,
  heightMm: 10,
  quietMm: 1.6,
} as const

export const webFrame = {
  pitchMm: 60,
  webWidthMm: 220,
  cells: laneLefts.map((leftMm, index) => ({
    cell: index + 1,
    lane: index + 1,
    row: 1,
    leftMm,
    topMm: 3,
    widthMm: cellSizeMm.width,
    heightMm: cellSizeMm.height,
    rotateDeg: 0 as const,
    bleedMm,
  })),
  codeAt,
  eyeMark: { leftMm: 1.5, topMm: 3, widthMm: 5, heightMm: 3 },
  substrates: ['coated-white-85', 'pearl-white-90'],
} satisfies DemoFrame
