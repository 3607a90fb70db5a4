// The web of the honeys: two lanes of jar labels, one row. All in mm.
import { bleedMm, cellSizeMm, codeAt } from '../quillgarth-preserves/web.ts'
import type { DemoFrame } from '../web.ts'

const laneLefts = [9, 61] as const

export const webFrame: DemoFrame = {
  pitchMm: 60,
  webWidthMm: 118,
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
  substrates: ['pearl-white-90'],
}
