// Rules on the frame that a schema can't state: cells apart and on the web, codes inside the frame, nothing named twice.
import type { Finding } from '../kernel/problem.ts'
import { duplicatesIn } from './duplicates.ts'
import { frameRect, overhangMm, overlaps, toFrame, toleranceMm } from './frame-geometry.ts'
import type { ManifestCell, ManifestFrame } from './manifest.ts'

const file = 'job.json'
const roundMm = (mm: number): number => Math.round(mm * 1e6) / 1e6

function cellsOffWeb(frame: ManifestFrame): Finding[] {
  return frame.cells.flatMap((cell, i) => {
    const over = overhangMm(cell, frameRect(frame))
    if (over <= toleranceMm) return []
    return [
      {
        code: 'cell-off-web' as const,
        file,
        pointer: `/frame/cells/${i}`,
        message: `cell ${cell.cell} reaches ${roundMm(over)} mm beyond the frame`,
        measured: roundMm(over),
        limit: 0,
      },
    ]
  })
}

const sizeOf = (cell: ManifestCell, other: ManifestCell): string => {
  const across =
    Math.min(cell.leftMm + cell.widthMm, other.leftMm + other.widthMm) - Math.max(cell.leftMm, other.leftMm)
  const along = Math.min(cell.topMm + cell.heightMm, other.topMm + other.heightMm) - Math.max(cell.topMm, other.topMm)
  return `${roundMm(across)} × ${roundMm(along)} mm`
}

function cellsOverlapping({ cells }: ManifestFrame): Finding[] {
  return cells.flatMap((cell, i) =>
    cells.slice(0, i).flatMap((other) => {
      if (!overlaps(cell, other)) return []
      return [
        {
          code: 'cell-overlap' as const,
          file,
          pointer: `/frame/cells/${i}`,
          message: `cell ${cell.cell} overlaps cell ${other.cell}`,
          measured: sizeOf(cell, other),
          limit: '0 mm',
        },
      ]
    }),
  )
}

function codesOffFrame(frame: ManifestFrame): Finding[] {
  const { codeAt, cells } = frame
  const places =
    codeAt.from === 'frame'
      ? [{ what: 'the code', rect: codeAt }]
      : cells.map((cell) => ({ what: `the code of cell ${cell.cell}`, rect: toFrame(cell, codeAt) }))
  return places.flatMap(({ what, rect }) => {
    const over = overhangMm(rect, frameRect(frame))
    if (over <= toleranceMm) return []
    return [
      {
        code: 'code-off-frame' as const,
        file,
        pointer: '/frame/codeAt',
        message: `${what} reaches ${roundMm(over)} mm beyond the frame`,
        measured: roundMm(over),
        limit: 0,
      },
    ]
  })
}

function namedTwice({ cells, substrates }: ManifestFrame): Finding[] {
  const places = (cell: ManifestCell): string => `lane ${cell.lane}, row ${cell.row}`
  return [
    ...duplicatesIn(cells, '/frame/cells', (cell) => `cell ${cell.cell}`),
    ...duplicatesIn(cells, '/frame/cells', places),
    ...duplicatesIn(substrates, '/frame/substrates', (substrate) => `substrate ${substrate}`),
  ]
}

/** Everything wrong with a frame that fits its schema. */
export const checkFrame = (frame: ManifestFrame): Finding[] => [
  ...namedTwice(frame),
  ...cellsOffWeb(frame),
  ...cellsOverlapping(frame),
  ...codesOffFrame(frame),
]
