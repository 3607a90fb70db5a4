// Every way in which a line profile contradicts itself, each found where it stands and beside all others.
import { describe, expect, it } from 'vitest'
import { line } from '../../tests/fixtures/runs.ts'
import { checkLine, lineCodes } from './line-check.ts'

const inkjet = line.stations[0]!
const foil = { ...line.stations[1]!, distanceMm: 900 }
const flexo = { ...inkjet, station: 'flexo' as const, distanceMm: 200 }
const adhesive = (station: string) => ({ adhesive: { station, coatUm: 12 } })
const position = (number: number) => ({ number, leadEdge: 'top', face: 'out' })

const short = (change: object) =>
  checkLine({ ...line, ...change }).findings.map(
    ({ code, pointer, measured, limit }) => `${code} ${pointer} ${measured} ${limit}`,
  )

describe('a line profile', () => {
  it('without a fault is given back', () => {
    const stations = [flexo, { ...inkjet, distanceMm: 400 }, { ...foil, ...adhesive('flexo') }]
    const sound = {
      ...line,
      stations,
      speed: {
        mPerMinMax: 60,
        byHeight: [
          { heightUmMax: 50, mPerMinMax: 60 },
          { heightUmMax: 90, mPerMinMax: 30 },
        ],
      },
      charts: [{ chart: 'house', positions: [position(1), position(2)] }],
    }
    expect(checkLine(sound)).toEqual({ line: expect.objectContaining({ line: 'L1' }), findings: [] })
  })

  it.each([
    [
      { stations: [{ ...inkjet, threadingM: 4, nip: { mPerMinMax: 30 } }] },
      ['line-stations /stations/0/nip inkjet foil', 'line-stations /stations/0/threadingM inkjet foil'],
    ],
    [
      { stations: [inkjet, { ...foil, ...adhesive('flexo') }] },
      ['line-stations /stations/1/adhesive/station flexo inkjet, foil'],
    ],
    [
      { stations: [{ ...foil, distanceMm: 200, ...adhesive('inkjet') }, inkjet] },
      ['line-stations /stations/0/adhesive/station 1 0'],
    ],
    [{ stations: [inkjet, { ...foil, distanceMm: 400 }] }, ['line-stations /stations/1/distanceMm 400 400']],
    [
      { stations: [{ ...inkjet, handlingMm: { atHand: 200, notAtHand: 100 } }] },
      ['line-stations /stations/0/handlingMm/atHand 200 100'],
    ],
    [
      { stations: [{ ...inkjet, handlingMm: { atHand: 100, notAtHand: 400 } }] },
      ['line-stations /stations/0/handlingMm/notAtHand 400 400'],
    ],
    [{ stations: [{ ...inkjet, heightUm: { min: 5, max: 121 } }] }, ['line-heights /stations/0/heightUm/max 121 120']],
    [
      { stations: [{ ...foil, shafts: ['a', 'a'].map((shaft) => ({ shaft, widthMmMax: 100, reelsMax: 1 })) }] },
      ['line-stations /stations/0/shafts/1/shaft a undefined'],
    ],
    [
      {
        speed: {
          mPerMinMax: 50,
          byHeight: [
            { heightUmMax: 9, mPerMinMax: 20 },
            { heightUmMax: 10, mPerMinMax: 51 },
          ],
        },
      },
      ['line-speed /speed/byHeight/1/mPerMinMax 51 50', 'line-speed /speed/byHeight/1/mPerMinMax 51 20'],
    ],
    [
      {
        charts: [
          { chart: 'x', positions: [position(1), position(1)] },
          { chart: 'x', positions: [position(1)] },
        ],
      },
      ['line-charts /charts/0/positions/1/number 1 undefined', 'line-charts /charts/1/chart x undefined'],
    ],
    [{ rewind: { coreOuterMm: 90, diameterMmMax: 90 } }, ['line-winding /rewind/coreOuterMm 90 90']],
  ])('is refused where it contradicts itself: %j', (change, wanted) => {
    expect(short(change)).toEqual(wanted)
  })

  it('is checked for sense where it fits the schema, beside what does not fit', () => {
    const stations = [
      { ...inkjet, distanceMm: 'far' },
      { ...foil, handlingMm: { atHand: 9, notAtHand: 3 }, ...adhesive('inkjet') },
    ]
    const policy = { withdrawn: { decision: 'lay' } }
    expect(
      short({ stations, policy, speed: { mPerMinMax: 5, byHeight: [{ heightUmMax: 9, mPerMinMax: 6 }] }, colour: 1 }),
    ).toEqual([
      'line-schema /stations/0/distanceMm far undefined',
      'line-schema /colour undefined undefined',
      'line-schema /policy/withdrawn/decision lay stop',
      'line-stations /stations/1/handlingMm/atHand 9 3',
      'line-speed /speed/byHeight/0/mPerMinMax 6 5',
    ])
  })

  it.each([null, 7, 'x', [], {}, { stations: {} }, { stations: [null] }])(
    'is never anything that throws: %j',
    (value) => {
      const { findings } = checkLine(value)
      expect(findings.length).toBeGreaterThan(0)
      for (const { code } of findings) expect(lineCodes).toContain(code)
    },
  )
})
