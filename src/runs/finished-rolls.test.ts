// Finished rolls from marks and events: which places lie on which roll, how far from its outside, and how sure that is.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  fromOutsideUm,
  lengthUm,
  type MaterialRow,
  placesFromOutside,
  standingEvents,
  toleranceUm,
  windUp,
} from './finished-rolls.ts'
import { WebMarks } from './record/web-marks.ts'

const pitchUm = 60_000
const lanes = [1, 2]

function webOf(
  places: number,
  { from = 0, jitterUm = () => 0 }: { from?: number; jitterUm?: (i: number) => number } = {},
) {
  const web = new WebMarks(pitchUm)
  web.under({ ticket: 'T', roll: 'R', pass: 1 })
  for (let place = 0; place < places; place++) {
    web.take({ frame: place, place, positionUm: from + place * pitchUm + jitterUm(place) })
  }
  return web
}

let index = 100
const event = (body: Partial<MaterialRow> & Pick<MaterialRow, 'event'>, placesThen = 1_000): MaterialRow => ({
  index: ++index,
  placesThen,
  threading: 0,
  ...body,
})
const split = (positionUm: number, roll: string) => event({ event: 'split', positionUm, roll })
const cut = (positionUm: number, toPositionUm: number) => event({ event: 'cut-out', positionUm, toPositionUm })
const wind = (web: WebMarks, ...events: MaterialRow[]) => windUp(web, { events, lanes })

describe('finished rolls', () => {
  it('are the whole roll under its own name where nothing was recorded, last frame outside', () => {
    const { rolls, cut, rest } = wind(webOf(10))
    expect(rolls).toMatchObject([{ roll: 'R', rewound: false, ranges: [{ firstPlace: 0, lastPlace: 9 }] }])
    expect(lengthUm(rolls[0]!)).toBe(600_000)
    expect([...placesFromOutside(rolls[0]!)]).toEqual([9, 8, 7, 6, 5, 4, 3, 2, 1, 0])
    expect([cut, rest]).toEqual([[], []])
  })

  it('end at each split; what follows the last one is counted on', () => {
    const { rolls } = wind(webOf(10), split(240_000, 'A'), split(480_000, 'B'))
    expect(rolls.map(({ roll, ranges }) => [roll, ranges[0]])).toEqual([
      ['A', { firstPlace: 0, lastPlace: 3 }],
      ['B', { firstPlace: 4, lastPlace: 7 }],
      ['R-3', { firstPlace: 8, lastPlace: 9 }],
    ])
    expect(wind(webOf(8), split(480_000, 'B')).rolls.map(({ roll }) => roll)).toEqual(['B'])
  })

  it('give a frame to the side of the split on which its middle lies', () => {
    const ranges = (positionUm: number) => wind(webOf(4), split(positionUm, 'A')).rolls[0]?.ranges
    expect(ranges(149_000)).toEqual([{ firstPlace: 0, lastPlace: 1 }])
    expect(ranges(151_000)).toEqual([{ firstPlace: 0, lastPlace: 2 }])
  })

  it('lose what was cut out, and their metres with it', () => {
    const { rolls, cut: out } = wind(webOf(10), cut(120_000, 240_000))
    expect(out).toEqual([{ firstPlace: 2, lastPlace: 3 }])
    const [roll] = rolls
    expect(lengthUm(roll!)).toBe(480_000)
    const web = webOf(10)
    expect(fromOutsideUm(roll!, web.webUm(9))).toBe(60_000)
    // Six frames lie outside of the cut, and it is gone.
    expect(fromOutsideUm(roll!, web.webUm(1) + pitchUm)).toBe(360_000)
  })

  it('count a frame as cut out where more than a quarter of it is gone', () => {
    const out = (fromUm: number, toUm: number) => wind(webOf(4), cut(fromUm, toUm)).cut
    expect(out(60_000, 134_000)).toEqual([{ firstPlace: 1, lastPlace: 1 }])
    expect(out(60_000, 136_000)).toEqual([{ firstPlace: 1, lastPlace: 2 }])
    expect(out(60_000, 74_000)).toEqual([])
  })

  it('turn their outside in with each rewinding', () => {
    const rewind = () => event({ event: 'rewind', roll: 'R' })
    const once = wind(webOf(5), rewind()).rolls[0]!
    expect([...placesFromOutside(once)]).toEqual([0, 1, 2, 3, 4])
    expect(fromOutsideUm(once, webOf(5).webUm(1))).toBe(60_000)
    expect(wind(webOf(5), rewind(), rewind()).rolls[0]?.rewound).toBe(false)
  })

  it('are slit into lane rolls that keep how they were wound', () => {
    const slit = event({
      event: 'slit',
      roll: 'R',
      laneRolls: [
        { roll: 'L', lanes: [1] },
        { roll: 'M', lanes: [2] },
      ],
    })
    const { rolls } = wind(webOf(3), event({ event: 'rewind', roll: 'R' }), slit, event({ event: 'rewind', roll: 'M' }))
    expect(rolls.map(({ roll, lanes: mine, rewound, slitFrom }) => [roll, mine, rewound, slitFrom])).toEqual([
      ['L', [1], true, 'R'],
      ['M', [2], false, 'R'],
    ])
  })

  it('leave what was not run to its end on the rest, up to the next ticket', () => {
    const web = webOf(5)
    web.under({ ticket: 'U', roll: 'S', pass: 1 })
    for (let place = 5; place < 8; place++) web.take({ frame: place, place, positionUm: place * pitchUm })
    const { rolls, rest } = wind(web, event({ event: 'partial', positionUm: 180_000, roll: 'R-rest' }, 5))
    expect(rest).toEqual([{ roll: 'R-rest', firstPlace: 3, lastPlace: 4 }])
    expect(rolls).toMatchObject([
      {
        roll: 'S',
        ranges: [
          { firstPlace: 0, lastPlace: 2 },
          { firstPlace: 5, lastPlace: 7 },
        ],
      },
    ])
  })

  it('leave out events that were voided, and keep those whose voiding was voided', () => {
    const wrong = split(240_000, 'A')
    const undo = event({ event: 'void', voids: wrong.index })
    expect(wind(webOf(10), wrong, undo).rolls.map(({ roll }) => roll)).toEqual(['R'])
    const redo = event({ event: 'void', voids: undo.index })
    expect(standingEvents([wrong, undo, redo])).toEqual([wrong])
  })

  it('take positions as those of the threading that they were recorded in', () => {
    const web = webOf(5)
    web.rethread()
    for (let place = 5; place < 10; place++) web.take({ frame: place, place, positionUm: (place - 5) * pitchUm })
    expect(web.webUm(5)).toBe(300_000)
    const before = event({ event: 'cut-out', positionUm: 60_000, toPositionUm: 120_000 }, 5)
    const after = event({ event: 'cut-out', positionUm: 60_000, toPositionUm: 120_000, threading: 1 }, 10)
    expect(wind(web, before).cut).toEqual([{ firstPlace: 1, lastPlace: 1 }])
    expect(wind(web, after).cut).toEqual([{ firstPlace: 6, lastPlace: 6 }])
  })
})

describe('the tolerance of a place', () => {
  it('is a pitch at the outside and grows with length, joins and the scatter of the marks', () => {
    const even = webOf(1_001)
    const [roll] = wind(even, event({ event: 'splice', positionUm: 30_000_000 })).rolls
    expect(toleranceUm(even, roll!, even.webUm(1_000) + pitchUm)).toBe(pitchUm)
    expect(toleranceUm(even, roll!, even.webUm(1))).toBeCloseTo(pitchUm * 1.5 + 60_000, 6)
    const uneven = webOf(1_001, { jitterUm: (i) => (i % 2) * 200 })
    const [scattered] = wind(uneven).rolls
    // Spacings are 200 µm too long and too short in turn.
    expect(toleranceUm(uneven, scattered!, uneven.endUm)).toBeCloseTo(pitchUm + 600, 0)
  })
})

describe('any web with any events', () => {
  const events = fc.array(
    fc.oneof(
      fc.record({ kind: fc.constant('split' as const), at: fc.integer({ min: 0, max: 6_000 }) }),
      fc.record({
        kind: fc.constant('cut' as const),
        at: fc.integer({ min: 0, max: 6_000 }),
        long: fc.integer({ min: 1, max: 900 }),
      }),
      fc.record({ kind: fc.constant('partial' as const), at: fc.integer({ min: 3_000, max: 6_000 }) }),
      fc.record({ kind: fc.constant('rewind' as const) }),
    ),
    { maxLength: 6 },
  )

  it('has every place on one roll, cut out, or on a rest', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 100 }), events, (places, drafts) => {
        const rows = drafts.map((draft, i) => {
          if (draft.kind === 'split') return split(draft.at * 1_000, `S${i}`)
          if (draft.kind === 'cut') return cut(draft.at * 1_000, (draft.at + draft.long) * 1_000)
          if (draft.kind === 'partial') return event({ event: 'partial', positionUm: draft.at * 1_000, roll: `P${i}` })
          return event({ event: 'rewind' })
        })
        const { rolls, cut: out, rest } = wind(webOf(places), ...rows)
        const all = [
          ...rolls.flatMap((roll) => [...placesFromOutside(roll)]),
          ...[...out, ...rest].flatMap(({ firstPlace, lastPlace }) =>
            Array.from({ length: lastPlace - firstPlace + 1 }, (_, i) => firstPlace + i),
          ),
        ]
        expect(all.toSorted((a, b) => a - b)).toEqual(Array.from({ length: places }, (_, i) => i))
      }),
    )
  })

  it('has metres that rise from the outside to the length of the roll', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 2, max: 60 }),
        fc.boolean(),
        fc.integer({ min: 0, max: 3_000 }),
        (places, turned, at) => {
          const web = webOf(places)
          const rows = [cut(at * 1_000, (at + 150) * 1_000), ...(turned ? [event({ event: 'rewind' })] : [])]
          for (const roll of wind(web, ...rows).rolls) {
            const near = [...placesFromOutside(roll)].map((place) =>
              fromOutsideUm(roll, web.webUm(place) + (turned ? 0 : pitchUm)),
            )
            expect(near).toEqual(near.toSorted((a, b) => a - b))
            expect(near.at(-1) ?? 0).toBeLessThanOrEqual(lengthUm(roll))
          }
        },
      ),
    )
  })
})
