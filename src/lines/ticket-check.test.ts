// Every way in which a ticket contradicts itself, its line or the frame of its job, each found where it stands.
import { describe, expect, it } from 'vitest'
import { job, line, ticket, version } from '../../tests/fixtures/runs.ts'
import type { LineProfile } from './profile.ts'
import { checkTicket } from './ticket-check.ts'

const { frame } = job('J', [version('A', 1)])
const frameOf = (name: string) => (name === 'J' ? frame : undefined)
const shafts = [
  { shaft: 'a', widthMmMax: 60, reelsMax: 1 },
  { shaft: 'b', widthMmMax: 300, reelsMax: 4 },
]
const shafted: LineProfile = {
  ...line,
  stations: line.stations.map((station) => (station.station === 'foil' ? { ...station, shafts } : station)),
  charts: [{ chart: 'house', positions: [{ number: 1, leadEdge: 'top', face: 'out' }] }],
}
const reel = (change: object = {}) => ({ station: 'foil', foil: 'gold', shaft: 'b', ...change })

const short = (change: object, around?: Parameters<typeof checkTicket>[1]) =>
  checkTicket({ ...ticket(), foils: [reel()], ...change }, around).findings.map(
    ({ code, pointer, measured, limit }) => `${code} ${pointer} ${measured} ${limit}`,
  )

describe('a ticket', () => {
  it('without a fault is given back', () => {
    expect(checkTicket(ticket({ foils: [reel()] }), { line: shafted, frameOf })).toMatchObject({
      ticket: { ticket: 'T1' },
      findings: [],
    })
  })

  it.each([
    [{ material: { coreMm: 76, coreOuterMm: 76 } }, ['ticket-material /material/coreMm 76 76']],
    [{ material: { coreOuterMm: 400, diameterMm: 300 } }, ['ticket-material /material/coreOuterMm 400 300']],
    [{ material: { coreMm: 400, diameterMm: 300 } }, ['ticket-material /material/coreMm 400 300']],
    [
      { material: { widthMm: 110 }, foils: [reel({ leftMm: 60, widthMm: 60 })] },
      ['ticket-reels /foils/0/widthMm 120 110'],
    ],
  ])('is refused by itself where sizes contradict: %j', (change, wanted) => {
    expect(short(change)).toEqual(wanted)
  })

  it('may touch the edge of the web with sums of broken numbers', () => {
    expect(short({ material: { widthMm: 0.3 }, foils: [reel({ leftMm: 0.1, widthMm: 0.2 })] })).toEqual([])
  })

  it.each([
    [{ foils: [reel({ station: 'flexo' })] }, ['ticket-reels /foils/0/station flexo inkjet, foil']],
    [{ foils: [reel({ station: 'inkjet' })] }, ['ticket-reels /foils/0/station inkjet inkjet, foil']],
    [{ foils: [reel({ shaft: 'c' })] }, ['ticket-reels /foils/0/shaft c a, b']],
    [{ foils: [{ station: 'foil', foil: 'gold' }] }, ['ticket-reels /foils/0/shaft none a, b']],
    [{ foils: [reel({ shaft: 'a', leftMm: 0, widthMm: 61 })] }, ['ticket-reels /foils/0/widthMm 61 60']],
    [{ material: { widthMm: 110 }, foils: [reel({ shaft: 'a' })] }, ['ticket-reels /foils/0/widthMm 110 60']],
    // How wide the web is, nobody says.
    [{ foils: [reel({ shaft: 'a' })] }, []],
    [{ foils: [0, 30].map((leftMm) => reel({ shaft: 'a', leftMm, widthMm: 20 })) }, ['ticket-reels /foils 2 1']],
    [{ unwind: { chart: 'house', number: 2 } }, ['ticket-unwind /unwind chart-number-unknown undefined']],
    [{ unwind: { chart: 'other', number: 1 } }, ['ticket-unwind /unwind chart-unknown undefined']],
  ])('is refused with a line: %j', (change, wanted) => {
    expect(short(change, { line: shafted })).toEqual(wanted)
  })

  it('is held against the frame of its job where that is published', () => {
    expect(short({ cells: [1, 9] })).toEqual([])
    expect(short({ cells: [1, 9] }, { frameOf })).toEqual(['ticket-cells /cells/1 9 1, 2'])
    expect(short({ foils: [reel({ leftMm: 60, widthMm: 60 })] }, { frameOf })).toEqual([
      'ticket-reels /foils/0/widthMm 120 110',
    ])
  })

  it('is refused where orientation refuses it, which needs line and frame', () => {
    expect(short({ leadEdge: 'left' }, { line: shafted })).toEqual([])
    expect(short({ leadEdge: 'left' }, { line: shafted, frameOf })).toEqual([
      'ticket-unwind /leadEdge lead-edge-at-side undefined',
    ])
    expect(short({ lanesMirrored: true }, { line: shafted, frameOf })).toEqual([
      'ticket-unwind /lanesMirrored lanes-contradict-turn undefined',
    ])
  })

  it('is checked for sense where it fits the schema, beside what does not fit', () => {
    const change = {
      pass: 0,
      leadEdge: 'top',
      unwind: { chart: 'house', number: 1 },
      material: { coreMm: 80, coreOuterMm: 76 },
      foils: [{ foil: 7 }, reel({ shaft: 'c' })],
    }
    expect(short(change, { line: shafted })).toEqual([
      'ticket-schema /pass 0 1',
      'ticket-schema /foils/0/station undefined flexo, inkjet, foil',
      'ticket-schema /foils/0/foil 7 undefined',
      'ticket-schema /unwind undefined undefined',
      'ticket-material /material/coreMm 80 76',
      'ticket-reels /foils/1/shaft c a, b',
    ])
  })

  it.each([null, 7, 'x', [], {}, { foils: {} }, { foils: [null], jobs: 3 }])(
    'is never anything that throws: %j',
    (value) => {
      expect(checkTicket(value, { line: shafted, frameOf }).findings.length).toBeGreaterThan(0)
    },
  )
})
