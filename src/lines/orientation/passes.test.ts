// What rewinding does to a roll, and which two passes can be of one roll.
import * as fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { cellsDrawn, frameDrawn, webs } from '../../../tests/fixtures/web-drawings.ts'
import type { Orientation } from './orientation.ts'
import { type OrientationInquiry, orientationOf } from './orientation-of.ts'
import { acrossPasses, rewound } from './passes.ts'

const line = { line: 'L1' }
const opposites = { top: 'bottom', bottom: 'top', left: 'right', right: 'left' } as const
type Ticket = OrientationInquiry['ticket']

function possible(ticket: Ticket, frame: OrientationInquiry['frame']): Orientation {
  const found = orientationOf({ ticket, line, frame })
  if (found.kind === 'impossible') throw new Error(found.message)
  return found
}

/** A grid of cells of uneven sizes and gaps in tenths of a thousandth of a millimetre, lanes counted from either side. */
const frames = fc
  .record({
    widths: fc.array(fc.integer({ min: 1, max: 900_000 }), { minLength: 1, maxLength: 5 }),
    heights: fc.array(fc.integer({ min: 1, max: 900_000 }), { minLength: 1, maxLength: 3 }),
    gap: fc.integer({ min: 0, max: 99_999 }),
    turns: fc.array(fc.constantFrom<0 | 90 | 180 | 270>(0, 90, 180, 270), { minLength: 15, maxLength: 15 }),
    fromRight: fc.boolean(),
  })
  .map(({ widths, heights, gap, turns, fromRight }) => {
    const sum = (lengths: readonly number[]): number => lengths.reduce((total, length) => total + length + gap, gap)
    const cells = heights.flatMap((height, row) =>
      widths.map((width, lane) => ({
        cell: row * widths.length + lane + 1,
        lane: fromRight ? widths.length - lane : lane + 1,
        row: row + 1,
        leftMm: sum(widths.slice(0, lane)) / 1e4,
        topMm: sum(heights.slice(0, row)) / 1e4,
        widthMm: width / 1e4,
        heightMm: height / 1e4,
        rotateDeg: turns[row * widths.length + lane] ?? 0,
        bleedMm: 0,
      })),
    )
    return { webWidthMm: sum(widths) / 1e4, pitchMm: (sum(heights) + gap) / 1e4, cells }
  })

/** Some roll that can run: any frame, any of its two ends first, any direction and face, some of the cells. */
const rolls = fc
  .record({
    frame: frames,
    turned: fc.boolean(),
    direction: fc.constantFrom<Ticket['direction']>('as-printed', 'reversed'),
    face: fc.option(fc.constantFrom<'out' | 'in'>('out', 'in'), { nil: undefined }),
    keep: fc.array(fc.boolean(), { minLength: 15, maxLength: 15 }),
  })
  .map(({ frame, turned, direction, face, keep }) => {
    const kept = frame.cells.map(({ cell }) => cell).filter((cell) => keep[cell - 1])
    const common = {
      direction,
      ...(face ? { material: { face } } : {}),
      ...(kept.length > 0 ? { cells: kept } : {}),
    }
    const topFirst = possible(common, frame)
    const leadEdge = turned ? opposites[topFirst.leadEdge] : topFirst.leadEdge
    const ticket = { ...common, leadEdge }
    return { frame, ticket, orientation: possible(ticket, frame) }
  })

const seed = Number(process.env.ROLLCALL_SEED ?? 4_104)
const check = <T>(arbitrary: fc.Arbitrary<T>, holds: (value: T) => void): void =>
  fc.assert(fc.property(arbitrary, holds), { seed, numRuns: 400 })

describe('a roll rewound', () => {
  it('is the hand-made drawing of its other end, frames the other way round', () => {
    for (const { printed, turned, leads } of webs) {
      const before = possible({ direction: 'as-printed', leadEdge: leads.printed }, frameDrawn(printed))
      const after = rewound(before)
      expect(after.cells).toMatchObject(cellsDrawn(turned))
      expect(after).toMatchObject({ leadEdge: leads.turned, direction: 'reversed', lanesMirrored: true })
    }
  })

  it('is what a ticket with the opposite edge first and the other direction says', () => {
    check(rolls, ({ frame, ticket, orientation }) => {
      const direction = ticket.direction === 'reversed' ? 'as-printed' : 'reversed'
      const told = possible({ ...ticket, direction, leadEdge: opposites[ticket.leadEdge] }, frame)
      expect(rewound(orientation)).toEqual(told)
    })
  })

  it('twice is as it was', () => {
    check(fc.tuple(rolls, fc.boolean()), ([{ orientation }, pathChanges]) => {
      expect(rewound(rewound(orientation, { pathChanges }), { pathChanges })).toEqual(orientation)
    })
  })

  it('keeps its face unless it goes over where it came under', () => {
    check(rolls, ({ orientation }) => {
      const flipped = orientation.face && (orientation.face === 'out' ? 'in' : 'out')
      expect(rewound(orientation).face).toBe(orientation.face)
      expect(rewound(orientation, { pathChanges: true }).face).toBe(flipped)
    })
  })

  it('has its lanes the other way round and every label turned by half a turn, on the web', () => {
    check(rolls, ({ orientation }) => {
      const lanes = Math.max(...orientation.cells.map(({ lineLane }) => lineLane))
      const after = rewound(orientation)
      for (const [i, cell] of after.cells.entries()) {
        const before = orientation.cells[i]
        expect(cell.lineLane).toBe(lanes + 1 - (before?.lineLane ?? 0))
        expect((cell.rotateDeg + 180) % 360).toBe(before?.rotateDeg)
        expect(cell.leftMm).toBeGreaterThanOrEqual(0)
        expect(cell.leftMm + cell.widthMm).toBeLessThanOrEqual(after.webWidthMm + 1e-6)
        expect(cell.topMm + cell.heightMm).toBeLessThanOrEqual(after.pitchMm + 1e-6)
      }
    })
  })
})

describe('two passes', () => {
  it('are of one roll as it was, or rewound', () => {
    check(rolls, ({ orientation }) => {
      const after = rewound(orientation)
      expect(acrossPasses({ earlier: orientation, now: orientation })).toEqual({ kind: 'agree', rewound: false })
      expect(acrossPasses({ earlier: orientation, now: after })).toEqual({ kind: 'agree', rewound: true })
      expect(acrossPasses({ earlier: after, now: orientation })).toEqual({ kind: 'agree', rewound: true })
      expect(acrossPasses({ earlier: after, now: rewound(after, { pathChanges: true }) }).kind).toBe('agree')
    })
  })

  it('are of no one roll where only the lead edge or only the direction changed', () => {
    check(rolls, ({ frame, ticket, orientation }) => {
      const turned = possible({ ...ticket, leadEdge: opposites[ticket.leadEdge] }, frame)
      const direction = ticket.direction === 'reversed' ? 'as-printed' : 'reversed'
      const reversed = possible({ ...ticket, direction }, frame)
      for (const now of [turned, reversed]) {
        expect(acrossPasses({ earlier: orientation, now })).toMatchObject({
          kind: 'impossible',
          code: 'passes-contradict',
          message: expect.stringContaining('rewinding changes both or neither'),
        })
      }
    })
  })

  it('may lose cells by slitting between them, and gain none', () => {
    const frame = frameDrawn(webs[0]?.printed ?? '')
    const whole = possible({ direction: 'as-printed' }, frame)
    const slit = possible({ direction: 'as-printed', cells: [2, 4] }, frame)
    expect(acrossPasses({ earlier: whole, now: slit })).toEqual({ kind: 'agree', rewound: false })
    expect(acrossPasses({ earlier: slit, now: rewound(whole) })).toMatchObject({
      code: 'cells-not-run-before',
      message: expect.stringContaining('cell 1, 3;'),
    })
  })
})
