// Every way that a roll can be said to run, against drawings made by hand of what must come out.
import { describe, expect, it } from 'vitest'
import { cellsDrawn, counts, frameDrawn, slitWeb, webs } from '../../../tests/fixtures/web-drawings.ts'
import { type OrientationInquiry, orientationOf } from './orientation-of.ts'

const edges = ['top', 'right', 'bottom', 'left'] as const
const directions = ['as-printed', 'reversed'] as const
type Ticket = OrientationInquiry['ticket']
type Line = OrientationInquiry['line']

const line = (more: Partial<Line> = {}): Line => ({ line: 'L1', ...more })
const ticket = (more: Partial<Ticket> = {}): Ticket => ({ direction: 'as-printed', ...more })

/** What one sees in a drawing, in the words of an orientation. */
function seen(drawing: string, way: 'printed' | 'turned', lanes: readonly number[] = counts[way].lanes) {
  const cells = cellsDrawn(drawing)
  const order = [...new Set(cells.map(({ topMm }) => topMm))].toSorted((a, b) => a - b)
  return cells.map((cell) => ({
    ...cell,
    lineLane: lanes.indexOf(cell.lane) + 1,
    arrives: order.indexOf(cell.topMm) + 1,
  }))
}

describe.each(webs)('a web with $name', ({ printed, turned, leads }) => {
  const frame = frameDrawn(printed)
  const drawings = { printed, turned }
  const ways = ['printed', 'turned'] as const

  it.each(ways)('comes out as drawn by hand: %s', (way) => {
    const orientation = orientationOf({ ticket: ticket({ leadEdge: leads[way] }), line: line(), frame })
    expect(orientation).toEqual({
      kind: 'possible',
      frameTurnDeg: way === 'turned' ? 180 : 0,
      direction: 'as-printed',
      leadEdge: leads[way],
      lanesMirrored: counts[way].laneOneOnTheRight,
      webWidthMm: 22,
      pitchMm: 17,
      cells: seen(drawings[way], way),
    })
    const arrives = Object.fromEntries(seen(drawings[way], way).map((cell) => [cell.cell, cell.arrives]))
    expect(arrives).toEqual(counts[way].arrives)
  })

  it('runs as printed where nothing is said', () => {
    expect(orientationOf({ ticket: ticket(), line: line(), frame })).toEqual(
      orientationOf({ ticket: ticket({ leadEdge: leads.printed }), line: line(), frame }),
    )
  })

  it.each(edges.filter((edge) => edge !== leads.printed && edge !== leads.turned))(
    'cannot run with the %s edge first, which lies at its side',
    (leadEdge) => {
      const found = orientationOf({ ticket: ticket({ leadEdge }), line: line(), frame })
      expect(found).toMatchObject({ kind: 'impossible', code: 'lead-edge-at-side' })
      expect((found as { message: string }).message).toMatch(
        new RegExp(`it is the ${leads.printed} or the ${leads.turned} edge`),
      )
    },
  )

  // 2 ways × 2 directions × 3 faces × 4 lines × 3 words on lanes.
  const faces = ['out', 'in', undefined] as const
  const taken = [['out'], ['in'], ['out', 'in'], undefined] as const
  it.each(ways.flatMap((way) => directions.map((direction) => [way, direction] as const)))(
    '%s and %s is possible just where print runs up and lanes were seen where they are',
    (way, direction) => {
      const outcomes = { possible: 0, 'runs-face-down': 0, 'lanes-contradict-turn': 0 }
      for (const face of faces) {
        for (const lineFaces of taken) {
          for (const lanesMirrored of [true, false, undefined]) {
            const said = ticket({
              direction,
              leadEdge: leads[way],
              ...(face ? { material: { face } } : {}),
              ...(lanesMirrored === undefined ? {} : { lanesMirrored }),
            })
            const on = line(lineFaces ? { unwind: { faces: [...lineFaces] } } : {})
            const found = orientationOf({ ticket: said, line: on, frame })
            const isDown =
              face !== undefined && lineFaces !== undefined && !(lineFaces as readonly string[]).includes(face)
            const isContrary = lanesMirrored !== undefined && lanesMirrored !== counts[way].laneOneOnTheRight
            const expected = isDown ? 'runs-face-down' : isContrary ? 'lanes-contradict-turn' : 'possible'
            expect(found.kind === 'possible' ? found.kind : found.code, JSON.stringify([said, on])).toBe(expected)
            if (found.kind === 'possible') {
              expect(found.cells).toEqual(seen(drawings[way], way))
              expect(found.direction).toBe(direction)
              expect(found.face).toBe(face ?? (lineFaces?.length === 1 ? lineFaces[0] : undefined))
            }
            outcomes[expected]++
          }
        }
      }
      expect(outcomes).toEqual({ possible: 20, 'runs-face-down': 6, 'lanes-contradict-turn': 10 })
    },
  )
})

describe('a slit roll', () => {
  const web = webs.at(-1)
  const frame = frameDrawn(web?.printed ?? '')

  it.each(['printed', 'turned'] as const)('carries its own cells where the drawing has them: %s', (way) => {
    const said = ticket({ cells: [2, 4], leadEdge: slitWeb.leads[way] })
    const found = orientationOf({ ticket: said, line: line(), frame })
    expect(found).toMatchObject({ kind: 'possible', leadEdge: slitWeb.leads[way], webWidthMm: 22 })
    expect(found).toHaveProperty('cells', seen(slitWeb[way], way, [2]))
  })

  it('with one lane has it on both sides, so nothing said of lanes contradicts it', () => {
    for (const lanesMirrored of [true, false]) {
      const said = ticket({ cells: [2, 4], lanesMirrored })
      expect(orientationOf({ ticket: said, line: line(), frame })).toMatchObject({ kind: 'possible' })
    }
  })

  it('cannot carry a cell that the frame does not have', () => {
    expect(orientationOf({ ticket: ticket({ cells: [2, 5, 7] }), line: line(), frame })).toEqual({
      kind: 'impossible',
      code: 'cell-not-in-frame',
      message: expect.stringMatching(/^the frame has no cell 5, 7 \(it has: 1, 2, 3, 4\); /),
    })
  })
})

describe('lanes that a press counts from the right', () => {
  it('are mirrored where the frame runs as printed, and not where it is turned', () => {
    const frame = frameDrawn(webs[0]?.printed ?? '')
    const cells = frame.cells.map((cell) => ({ ...cell, lane: 3 - cell.lane }))
    const of = (said: Partial<Ticket>) =>
      orientationOf({ ticket: ticket(said), line: line(), frame: { ...frame, cells } })
    expect(of({ leadEdge: 'top', lanesMirrored: true })).toMatchObject({ kind: 'possible', lanesMirrored: true })
    expect(of({ leadEdge: 'bottom', lanesMirrored: false })).toMatchObject({ kind: 'possible', lanesMirrored: false })
    expect(of({ leadEdge: 'top', lanesMirrored: false })).toMatchObject({ code: 'lanes-contradict-turn' })
  })
})

describe('a number of a chart', () => {
  const frame = frameDrawn(webs[0]?.printed ?? '')
  const charts = [
    {
      chart: 'house',
      positions: [
        { number: 1, leadEdge: 'top' as const, face: 'out' as const },
        { number: 2, leadEdge: 'bottom' as const, face: 'out' as const },
        { number: 6, leadEdge: 'bottom' as const, face: 'in' as const },
      ],
    },
    { chart: 'mill', positions: [{ number: 1, leadEdge: 'bottom' as const, face: 'out' as const }] },
  ]
  const of = (said: Partial<Ticket>, more: Partial<Line> = {}) =>
    orientationOf({ ticket: ticket(said), line: line({ charts, ...more }), frame })

  it('means what the chart that is named with it says', () => {
    const at = (chart: string, number: number) => of({ unwind: { chart, number } })
    expect(at('house', 1)).toMatchObject({ kind: 'possible', leadEdge: 'top', face: 'out', frameTurnDeg: 0 })
    expect(at('mill', 1)).toMatchObject({ kind: 'possible', leadEdge: 'bottom', face: 'out', frameTurnDeg: 180 })
    expect(at('house', 6)).toMatchObject({ kind: 'possible', leadEdge: 'bottom', face: 'in', frameTurnDeg: 180 })
  })

  it('of no chart of the line, or with no such position, is refused with what there is', () => {
    expect(of({ unwind: { chart: 'trade', number: 1 } })).toEqual({
      kind: 'impossible',
      code: 'chart-unknown',
      message: expect.stringContaining('(it has: house, mill)'),
    })
    expect(of({ unwind: { chart: 'house', number: 3 } })).toEqual({
      kind: 'impossible',
      code: 'chart-number-unknown',
      message: expect.stringContaining('(it has: 1, 2, 6)'),
    })
    expect(of({ unwind: { chart: 'house', number: 1 } }, { charts: [] })).toMatchObject({ code: 'chart-unknown' })
  })

  it('with two meanings has none', () => {
    const twice = [
      ...charts,
      { chart: 'mill', positions: [{ number: 1, leadEdge: 'top' as const, face: 'out' as const }] },
    ]
    expect(of({ unwind: { chart: 'mill', number: 1 } }, { charts: twice })).toMatchObject({
      code: 'chart-contradicts-itself',
    })
  })

  it('may stand beside the face of the roll label only where both say the same', () => {
    const unwind = { chart: 'house', number: 6 }
    expect(of({ unwind, material: { face: 'in' } })).toMatchObject({ kind: 'possible', face: 'in' })
    expect(of({ unwind, material: { face: 'out' } })).toMatchObject({ code: 'face-contradicts-chart' })
  })

  it('of a roll wound face in cannot run where the line unwinds only over', () => {
    const found = of({ unwind: { chart: 'house', number: 6 } }, { unwind: { faces: ['out'] } })
    expect(found).toMatchObject({ code: 'runs-face-down' })
    expect((found as { message: string }).message).toMatch(
      /unwinds only over: the print would run face down\. Rewind it/,
    )
  })
})
