// Where the codes of a frame stand in the camera's picture, from the job's frame and the line's camera, both given as plain data.
import type { BoxPx } from './gray.ts'

/** The part of a manifest's frame that places codes; mm from the upper left of the frame as printed. */
export interface FrameOfCodes {
  readonly pitchMm: number
  readonly webWidthMm: number
  readonly cells: readonly (BoxMm & {
    readonly cell: number
    readonly lane: number
    /** Clockwise turn of the label's artwork within the frame. */
    readonly rotateDeg: 0 | 90 | 180 | 270
  })[]
  readonly codeAt: BoxMm & {
    readonly identifies: 'cell' | 'lane' | 'frame'
    /** `cell`: from the upper left of the label's artwork, and turned with it. `frame`: from the frame. */
    readonly from: 'cell' | 'frame'
  }
  /** Absent: the frame's leading edge stands for it. */
  readonly eyeMark?: BoxMm | undefined
}

interface BoxMm {
  readonly leftMm: number
  readonly topMm: number
  readonly widthMm: number
  readonly heightMm: number
}

export interface Camera {
  readonly pxPerMm: number
  /** Web x of the picture's left edge. */
  readonly leftMm: number
  /** Web y of the picture's upper edge, from the upper edge of the eye mark. */
  readonly topMm: number
}

export interface View {
  readonly frame: FrameOfCodes
  readonly camera: Camera
  /** The web runs bottom first: the camera sees the frame turned by half a turn. */
  readonly turned?: boolean
}

export interface CodePlace {
  /** Which read a code here belongs to: a cell's, a lane's, or (neither) the frame's. */
  readonly cell?: number
  readonly lane?: number
  readonly box: BoxPx
}

/** One place a cell where codes stand with the cells, else one. */
export function codePlaces({ frame, camera, turned = false }: View): readonly CodePlace[] {
  const { identifies, from } = frame.codeAt
  const asSeen = (box: BoxMm): BoxMm => (turned ? turnFrame(box, frame) : box)
  const pictureTopMm = camera.topMm + (frame.eyeMark ? asSeen(frame.eyeMark).topMm : 0)
  return frame.cells.slice(0, from === 'cell' ? undefined : 1).map((cell) => {
    const seen = asSeen(from === 'cell' ? withinCell(frame.codeAt, cell) : frame.codeAt)
    return {
      ...(identifies === 'cell' ? { cell: cell.cell } : {}),
      ...(identifies === 'lane' ? { lane: cell.lane } : {}),
      box: {
        left: (seen.leftMm - camera.leftMm) * camera.pxPerMm,
        top: (seen.topMm - pictureTopMm) * camera.pxPerMm,
        width: seen.widthMm * camera.pxPerMm,
        height: seen.heightMm * camera.pxPerMm,
      },
    }
  })
}

/** A box on a label's artwork, in the frame. A quarter turn clockwise brings the artwork's left edge to the cell's upper edge. */
function withinCell(box: BoxMm, cell: FrameOfCodes['cells'][number]): BoxMm {
  const { leftMm, topMm, widthMm, heightMm } = box
  const rightMm = cell.leftMm + cell.widthMm
  const bottomMm = cell.topMm + cell.heightMm
  const lying = { widthMm: heightMm, heightMm: widthMm }
  switch (cell.rotateDeg) {
    case 0:
      return { ...box, leftMm: cell.leftMm + leftMm, topMm: cell.topMm + topMm }
    case 90:
      return { ...lying, leftMm: rightMm - topMm - heightMm, topMm: cell.topMm + leftMm }
    case 180:
      return { ...box, leftMm: rightMm - leftMm - widthMm, topMm: bottomMm - topMm - heightMm }
    case 270:
      return { ...lying, leftMm: cell.leftMm + topMm, topMm: bottomMm - leftMm - widthMm }
  }
}

function turnFrame(box: BoxMm, { webWidthMm, pitchMm }: FrameOfCodes): BoxMm {
  return {
    ...box,
    leftMm: webWidthMm - box.leftMm - box.widthMm,
    topMm: pitchMm - box.topMm - box.heightMm,
  }
}
