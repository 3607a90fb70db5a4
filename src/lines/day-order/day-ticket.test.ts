// What of a ticket matters to the order of a day, taken from the ticket, the published frames and the line profile.
import { describe, expect, it } from 'vitest'
import { handCatalogue, job, line, ticket, version } from '../../../tests/fixtures/runs.ts'
import { Problem } from '../../kernel/problem.ts'
import type { JobRecord } from '../../packages/index.ts'
import type { LineProfile } from '../profile.ts'
import { dayMinutesOf, dayTicketOf, demandPlace, isSameReel, threadedReel } from './day-ticket.ts'

const published = job('J', [version('F', 1)])
const withFrame = (name: string, frame: Partial<JobRecord['frame']>): JobRecord => ({
  ...job(name, [version('F', 1)]),
  frame: { ...published.frame, ...frame },
})
const jobs = [published, withFrame('TALL', { pitchMm: 75 }), withFrame('WIDE', { webWidthMm: 220 })]
const withShafts: LineProfile = {
  ...line,
  stations: line.stations.map((station) =>
    station.station === 'foil'
      ? { ...station, shafts: ['upper', 'lower'].map((shaft) => ({ shaft, widthMmMax: 330, reelsMax: 4 })) }
      : station,
  ),
}
const reduced = (change: object, profile = line) =>
  dayTicketOf({ catalogue: handCatalogue(jobs).current(), line: profile }, ticket(change))

function refusalOf(change: object): Problem {
  try {
    reduced(change)
  } catch (error) {
    if (error instanceof Problem) return error
  }
  return expect.unreachable('nothing was refused')
}

describe('a ticket of a day', () => {
  it('has pitch and web of its job as published, and a reel without a place spans that web', () => {
    expect(reduced({ pass: 2 })).toEqual({
      ticket: 'T1',
      roll: 'R1',
      pass: 2,
      pitchMm: 60,
      webWidthMm: 110,
      substrate: 'pp-white',
      reels: [{ station: 'foil', shaft: '', foil: 'gold', leftMm: 0, widthMm: 110, wholeWeb: true }],
    })
  })

  it('needs no reel where it states none', () => {
    expect(reduced({ foils: undefined }).reels).toEqual([])
  })

  it('hangs a reel on the first shaft of its station unless it names another', () => {
    const foils = [
      { station: 'foil', foil: 'gold', leftMm: 0, widthMm: 50 },
      { station: 'foil', foil: 'silver', shaft: 'lower', leftMm: 60, widthMm: 50 },
    ]
    expect(reduced({ foils }, withShafts).reels.map(({ shaft }) => shaft)).toEqual(['upper', 'lower'])
  })

  it('is refused by name where a job is not published, or its jobs differ in pitch or width', () => {
    const unknown = refusalOf({ jobs: [{ job: 'J' }, { job: 'NONE' }] })
    expect([unknown.code, unknown.message]).toEqual(['package-not-found', expect.stringMatching(/T1 names job NONE/)])
    const tall = refusalOf({ jobs: [{ job: 'J' }, { job: 'TALL' }] })
    expect([tall.code, tall.place]).toEqual(['not-ready', { measured: 75, limit: 60 }])
    expect(refusalOf({ jobs: [{ job: 'WIDE' }, { job: 'J' }] }).message).toContain('webWidthMm')
  })
})

describe('a reel', () => {
  const hangs = (reel: object) => threadedReel(line, { station: 'foil', foil: 'gold', ...reel })
  const wanted = (foils: object) => reduced({ foils: [{ station: 'foil', foil: 'gold', ...foils }] }).reels[0]!

  it('stays where foil, shaft and place are those that are wanted', () => {
    expect(isSameReel(hangs({ leftMm: 10, widthMm: 40 }), wanted({ leftMm: 10, widthMm: 40 }))).toBe(true)
    for (const other of [{ leftMm: 11 }, { widthMm: 41 }, { foil: 'silver' }, { shaft: 'lower' }])
      expect(isSameReel(hangs({ leftMm: 10, widthMm: 40, ...other }), wanted({ leftMm: 10, widthMm: 40 }))).toBe(false)
  })

  it('that spans the web now stays for whoever wants the whole web, and for nobody else', () => {
    expect(isSameReel(hangs({}), wanted({}))).toBe(true)
    expect(isSameReel(hangs({}), wanted({ leftMm: 0, widthMm: 110 }))).toBe(true)
    expect(isSameReel(hangs({}), wanted({ leftMm: 0, widthMm: 50 }))).toBe(false)
  })
})

describe('what hangs on the line now', () => {
  it('hangs at a station and on a shaft that the line has', () => {
    const place =
      (profile: typeof line, shaft?: string, station = 'foil') =>
      () =>
        demandPlace(profile, { station, foil: 'gold', shaft }, '/threaded/1')
    expect(place(withShafts, 'lower')).not.toThrow()
    expect(place(withShafts)).not.toThrow()
    // A profile that names no shafts says nothing against any.
    expect(place(line, 'any')).not.toThrow()
    const where = { pointer: '/threaded/1', measured: 'nope', limit: 'upper, lower' }
    expect(place(withShafts, 'nope')).toThrow(expect.objectContaining({ code: 'bad-request', place: where }))
    const bare = { ...line, stations: line.stations.filter(({ station }) => station !== 'foil') }
    expect(place(bare)).toThrow(/has no foil station/)
  })
})

describe('the minutes of a line', () => {
  it('are those of its profile, and none where it states none', () => {
    expect(dayMinutesOf(line)).toEqual({ setUp: 0, foilChange: 0, pitchChange: 0, rollChange: 0 })
    const minutes = { setUp: 9, foilChange: 12, reelChange: 5 }
    expect(dayMinutesOf({ ...line, minutes })).toEqual({ setUp: 9, foilChange: 12, pitchChange: 0, rollChange: 0 })
  })
})
