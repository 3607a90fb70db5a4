// The web of the yoghurts: two lanes and two rows of one size, and between the lanes, on the matrix, one code for the whole frame.
// All in mm.
import type { DemoFrame } from '../web.ts'

export const bleedMm = 1
export const labelSizeMm = { widthMm: 52, heightMm: 35 } as const

const laneLefts = [9, 81] as const
const rowTops = [3, 42] as const

/** A QR code of this version has 33 modules a side and, at level M, room for 62 bytes. */
export const codeVersion = 4

export const webFrame: DemoFrame = {
  pitchMm: 80,
  webWidthMm: 142,
  cells: rowTops.flatMap((topMm, row) =>
    laneLefts.map((leftMm, lane) => ({
      cell: row * laneLefts.length + lane + 1,
      lane: lane + 1,
      row: row + 1,
      leftMm,
      topMm,
      ...labelSizeMm,
      rotateDeg: 0 as const,
      bleedMm,
    })),
  ),
  // 33 modules of 0.4 mm; the quiet zone is four of them.
  codeAt: {
    identifies: 'frame',
    from: 'frame',
    leftMm: 64.4,
    topMm: 32,
    widthMm: 13.2,
    heightMm: 13.2,
    quietMm: 1.6,
  },
  eyeMark: { leftMm: 1.5, topMm: 3, widthMm: 5, heightMm: 3 },
  substrates: ['white-film-60'],
}
