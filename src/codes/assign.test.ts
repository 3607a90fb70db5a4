// Codes to cells by position: what is tolerated, and what is never guessed.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { limits } from '../kernel/limits.ts'
import { align } from './alignment.ts'
import { assignToCells } from './assign.ts'
import { codePlaces, type FrameOfCodes, type View } from './code-places.ts'
import type { FoundCode, PointPx } from './found-code.ts'

const pxPerMm = 10

/** `lanes` lanes and `rows` rows of labels `stepMm` apart, each with a code of 6 mm in it. */
function viewOf(grid: { lanes: number; rows: number; stepMm: number; codeAt?: Partial<FrameOfCodes['codeAt']> }): View {
  const { lanes, rows, stepMm } = grid
  const cells = Array.from({ length: lanes * rows }, (_, index) => ({
    cell: index + 1,
    lane: (index % lanes) + 1,
    leftMm: (index % lanes) * stepMm,
    topMm: Math.floor(index / lanes) * stepMm,
    widthMm: stepMm,
    heightMm: stepMm,
    rotateDeg: 0 as const,
  }))
  const codeAt = {
    identifies: 'cell',
    from: 'cell',
    leftMm: 2,
    topMm: 2,
    widthMm: 6,
    heightMm: 6,
    ...grid.codeAt,
  } as const
  const frame = { pitchMm: rows * stepMm, webWidthMm: lanes * stepMm, cells, codeAt }
  return { frame, camera: { pxPerMm, leftMm: 0, topMm: 0 } }
}

const code = (centre: PointPx, text: string | undefined, more: Partial<FoundCode> = {}): FoundCode => ({
  ...(text === undefined ? {} : { text }),
  identifier: ']Q1',
  format: 'QRCode',
  quality: 1,
  corners: [centre, centre, centre, centre],
  centre,
  ...more,
})

const centresOf = (view: View): PointPx[] =>
  codePlaces(view).map(({ box }) => ({ x: box.left + box.width / 2, y: box.top + box.height / 2 }))

const four = viewOf({ lanes: 4, rows: 1, stepMm: 50 })
const [first = { x: 0, y: 0 }] = centresOf(four)
const off = (point: PointPx, x: number, y: number): PointPx => ({ x: point.x + x, y: point.y + y })

describe('assigning codes to cells', () => {
  it('gives one read a cell, with a no-read where nothing was found', () => {
    const { reads, conflicts } = assignToCells({ found: [code(first, 'A', { quality: 0.5 })], view: four })
    expect(reads).toEqual([
      { cell: 1, text: 'A', symbology: ']Q1', quality: 0.5 },
      { cell: 2 },
      { cell: 3 },
      { cell: 4 },
    ])
    expect(conflicts).toEqual([])
  })

  it('never gives a cell the code of another, within the tolerated shift and turn, whatever is missing', () => {
    fc.assert(
      fc.property(
        fc.record({
          lanes: fc.integer({ min: 1, max: 8 }),
          rows: fc.integer({ min: 1, max: 4 }),
          stepMm: fc.integer({ min: 10, max: 60 }),
        }),
        fc.record({
          x: fc.double({ min: -30, max: 30, noNaN: true }),
          y: fc.double({ min: -30, max: 30, noNaN: true }),
        }),
        fc.double({ min: -2, max: 2, noNaN: true }),
        fc.array(fc.boolean(), { minLength: 32, maxLength: 32 }),
        (grid, shift, turnDeg, missing) => {
          const view = viewOf(grid)
          const pivot = {
            x: (view.frame.webWidthMm / 2) * pxPerMm,
            y: (view.frame.pitchMm / 2) * pxPerMm,
          }
          const turnRad = (turnDeg * Math.PI) / 180
          const found = centresOf(view).flatMap((centre, index) =>
            missing[index] ? [] : [code(align({ pivot, shift, turnRad }, centre), `of cell ${index + 1}`)],
          )
          const { reads, conflicts } = assignToCells({ found, view })
          expect(conflicts).toEqual([])
          reads.forEach(({ text }, index) => {
            expect(text).toBe(missing[index] ? undefined : `of cell ${index + 1}`)
          })
        },
      ),
      { seed: 42, numRuns: 500 },
    )
  })

  it('reports how the picture lay', () => {
    const found = centresOf(four).map((centre, index) => code(off(centre, 12, -7), `${index}`))
    const { shiftMm, turnDeg } = assignToCells({ found, view: four })
    expect(shiftMm).toEqual({ across: expect.closeTo(1.2), along: expect.closeTo(-0.7) })
    expect(turnDeg).toBeCloseTo(0)
  })

  it('leaves a code alone that is no nearer than half the way to the next place', () => {
    const { reads } = assignToCells({ found: [code(off(first, 251 + 30, 0), 'A')], view: four })
    expect(reads.map(({ text }) => text)).toEqual([undefined, 'A', undefined, undefined])
    const between = assignToCells({ found: [code(off(first, 0, 290), 'A')], view: four })
    expect(between.reads.every(({ text }) => text === undefined)).toBe(true)
  })

  it('leaves the codes of the frames before and after alone', () => {
    const found = [-500, 0, 500].map((along, index) => code(off(first, 0, along), `frame ${index}`))
    expect(assignToCells({ found, view: four }).reads[0]?.text).toBe('frame 1')
    const strangers = found.filter((_, index) => index !== 1)
    expect(assignToCells({ found: strangers, view: four }).reads[0]?.text).toBeUndefined()
  })

  it('takes the code in the box when another stands beside it', () => {
    const found = [code(first, 'in the box'), code(off(first, 90, 60), 'beside it')]
    const { reads, conflicts } = assignToCells({ found, view: four })
    expect(reads[0]?.text).toBe('in the box')
    expect(conflicts).toEqual([])
  })

  it('reports two texts at one place as a conflict and gives neither', () => {
    const found = [code(off(first, -10, 0), 'A'), code(off(first, 10, 0), 'B')]
    const { reads, conflicts } = assignToCells({ found, view: four })
    expect(reads[0]).toEqual({ cell: 1 })
    expect(conflicts).toEqual([{ cell: 1, texts: ['A', 'B'] }])
  })

  it('takes the better one of two codes with the same text', () => {
    const found = [code(first, 'A', { quality: 0.2 }), code(off(first, 5, 0), 'A', { quality: 0.9, identifier: ']d1' })]
    expect(assignToCells({ found, view: four }).reads[0]).toEqual({
      cell: 1,
      text: 'A',
      symbology: ']d1',
      quality: 0.9,
    })
  })

  it('names the symbology of a code whose content is no text', () => {
    expect(assignToCells({ found: [code(first, undefined)], view: four }).reads[0]).toEqual({
      cell: 1,
      symbology: ']Q1',
      quality: 1,
    })
  })

  it('counts a text longer than a code may be as none', () => {
    const long = 'é'.repeat(limits.codeBytesMax / 2 + 1)
    expect(assignToCells({ found: [code(first, long)], view: four }).reads[0]?.text).toBeUndefined()
  })
})

describe('codes that identify more than a cell', () => {
  const rows = (identifies: 'lane' | 'frame') => viewOf({ lanes: 2, rows: 3, stepMm: 40, codeAt: { identifies } })

  it('give one read a lane from any of its cells', () => {
    const view = rows('lane')
    const centres = centresOf(view)
    const found = [code(centres[2] ?? first, 'lane 1'), code(centres[5] ?? first, 'lane 2')]
    const { reads } = assignToCells({ found, view })
    expect(reads.map(({ lane, text }) => [lane, text])).toEqual([
      [1, 'lane 1'],
      [2, 'lane 2'],
    ])
  })

  it('are a conflict when the cells of a lane differ', () => {
    const view = rows('lane')
    const centres = centresOf(view)
    const found = [code(centres[0] ?? first, 'A'), code(centres[2] ?? first, 'B')]
    const { reads, conflicts } = assignToCells({ found, view })
    expect(reads).toEqual([{ lane: 1 }, { lane: 2 }])
    expect(conflicts).toEqual([{ lane: 1, texts: ['A', 'B'] }])
  })

  it('give one read that names neither cell nor lane for the frame', () => {
    const view = viewOf({ lanes: 2, rows: 1, stepMm: 40, codeAt: { identifies: 'frame', from: 'frame' } })
    expect(assignToCells({ found: [code({ x: 50, y: 50 }, 'F')], view }).reads).toEqual([
      { text: 'F', symbology: ']Q1', quality: 1 },
    ])
  })
})
