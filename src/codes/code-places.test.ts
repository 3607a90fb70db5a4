// Where codes stand in the picture.
import { describe, expect, it } from 'vitest'
import { type Camera, codePlaces, type FrameOfCodes } from './code-places.ts'

const camera: Camera = { pxPerMm: 10, leftMm: -5, topMm: -2 }
const cell = (number: number, more: Partial<FrameOfCodes['cells'][number]> = {}): FrameOfCodes['cells'][number] => ({
  cell: number,
  lane: number,
  leftMm: 10 + 50 * (number - 1),
  topMm: 5,
  widthMm: 40,
  heightMm: 60,
  rotateDeg: 0,
  ...more,
})
const frame = (more: Partial<FrameOfCodes> = {}): FrameOfCodes => ({
  pitchMm: 70,
  webWidthMm: 120,
  cells: [cell(1), cell(2)],
  codeAt: { identifies: 'cell', from: 'cell', leftMm: 28, topMm: 46, widthMm: 8, heightMm: 12 },
  ...more,
})

describe('the places of codes in a picture', () => {
  it('stand with each cell, in pixels from the corner of the picture', () => {
    expect(codePlaces({ frame: frame(), camera })).toEqual([
      { cell: 1, box: { left: 430, top: 530, width: 80, height: 120 } },
      { cell: 2, box: { left: 930, top: 530, width: 80, height: 120 } },
    ])
  })

  it.each<[FrameOfCodes['cells'][number]['rotateDeg'], object]>([
    [0, { left: 38, top: 51, width: 8, height: 12 }],
    // The artwork is 60 wide and 40 high and its left edge has come to the cell's upper edge.
    [90, { left: 50 - 46 - 12, top: 5 + 28, width: 12, height: 8 }],
    [180, { left: 50 - 28 - 8, top: 65 - 46 - 12, width: 8, height: 12 }],
    [270, { left: 10 + 46, top: 65 - 28 - 8, width: 12, height: 8 }],
  ])('turn with the artwork of a cell at %i degrees', (rotateDeg, box) => {
    const plain: Camera = { pxPerMm: 1, leftMm: 0, topMm: 0 }
    const [place] = codePlaces({ frame: frame({ cells: [cell(1, { rotateDeg })] }), camera: plain })
    expect(place?.box).toEqual(box)
  })

  it('count from the eye mark where the frame has one', () => {
    const eyeMark = { leftMm: 1, topMm: 3, widthMm: 5, heightMm: 3 }
    expect(codePlaces({ frame: frame({ eyeMark }), camera })[0]?.box.top).toBe(500)
  })

  it('stand turned by half a turn when the web runs bottom first', () => {
    const [first, second] = codePlaces({ frame: frame(), camera: { pxPerMm: 1, leftMm: 0, topMm: 0 }, turned: true })
    expect(first).toEqual({ cell: 1, box: { left: 120 - 38 - 8, top: 70 - 51 - 12, width: 8, height: 12 } })
    expect(second?.box.left).toBe(120 - 88 - 8)
  })

  it('are one place of the frame, or of a lane, where the code stands with the frame', () => {
    const codeAt = { from: 'frame', leftMm: 2, topMm: 1, widthMm: 8, heightMm: 8 } as const
    const box = { left: 70, top: 30, width: 80, height: 80 }
    const at = (identifies: 'lane' | 'frame') =>
      codePlaces({ frame: frame({ codeAt: { ...codeAt, identifies } }), camera })
    expect(at('frame')).toEqual([{ box }])
    expect(at('lane')).toEqual([{ lane: 1, box }])
  })
})
