// The order of a day against all orders, weighed one by one by a line that is acted out reel by reel and shares no code with ours.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { boundBelow } from '../../src/lines/day-order/bound.ts'
import type { DayMinutes, DayTicket } from '../../src/lines/day-order/day-ticket.ts'
import { toMinutes, toUnits } from '../../src/lines/day-order/model.ts'
import {
  type DayOrder,
  type DayOrderInquiry,
  type DayOrderLimits,
  orderDay,
} from '../../src/lines/day-order/order-day.ts'
import { reduceDay, ticketsOf } from '../../src/lines/day-order/reduce.ts'

const seed = 20_260_314
/** No table fits, so that the search has to do it. */
const searchOnly = { cellsMax: 0, workMax: 300_000 }

const stations = ['foil', 'flexo']
const reel = fc.record({
  foil: fc.constantFrom('gold', 'silver', 'red'),
  shaft: fc.constantFrom('upper', 'lower'),
  leftMm: fc.constantFrom(0, 100),
})
type StatedReel = { foil: string; shaft: string; leftMm: number }
const hung = (station: string, rows: readonly StatedReel[]): DayTicket['reels'] =>
  rows.map((row) => ({ station, ...row, widthMm: 100, wholeWeb: false }))

// At most one reel at a place of a shaft.
const reelSet = fc.uniqueArray(reel, { maxLength: 3, selector: ({ shaft, leftMm }) => `${shaft}@${leftMm}` })
const reels = fc
  .record({ foil: reelSet, flexo: fc.oneof({ weight: 2, arbitrary: fc.constant([]) }, reelSet) })
  .map(({ foil, flexo }) => [...hung('foil', foil), ...hung('flexo', flexo)])

const day = (ticketsMin: number, ticketsMax: number): fc.Arbitrary<DayTicket[]> =>
  fc
    .array(
      fc.record({
        reels,
        pitchMm: fc.constantFrom(50, 60, 75),
        roll: fc.oneof({ weight: 3, arbitrary: fc.constant('') }, fc.constantFrom('A', 'B')),
        pass: fc.constantFrom(1, 2),
      }),
      { minLength: ticketsMin, maxLength: ticketsMax, size: 'max' },
    )
    .map((rows) =>
      rows.map((row, i) => ({
        ...row,
        ticket: `T${i}`,
        roll: row.roll || `R${i}`,
        webWidthMm: 300,
        substrate: 'pp-white',
      })),
    )

const minutes: fc.Arbitrary<DayMinutes> = fc.record({
  setUp: fc.constantFrom(0, 7.5),
  foilChange: fc.constantFrom(0, 4, 12.5),
  pitchChange: fc.constantFrom(0, 3, 25),
  rollChange: fc.constantFrom(0, 0.1, 5),
})

const inquiry = (ticketsMax: number, ticketsMin = 1): fc.Arbitrary<DayOrderInquiry> =>
  fc
    .record({
      tickets: day(ticketsMin, ticketsMax),
      minutes,
      start: fc.option(
        fc.record({ reels, pitchMm: fc.option(fc.constantFrom(50, 60), { nil: undefined }) }).map((start) => ({
          reels: start.reels,
          ...(start.pitchMm === undefined ? {} : { pitchMm: start.pitchMm }),
        })),
        { nil: undefined },
      ),
      fixedFirst: fc.boolean(),
    })
    .filter(({ tickets, fixedFirst }) => !fixedFirst || keepsPasses(tickets, tickets[0]!))
    .map(({ start, ...rest }) => ({ ...rest, ...(start ? { start } : {}) }))

/** Whether nothing that is still to come belongs before a ticket: an earlier pass of its roll, or an earlier part of that pass. */
function keepsPasses(toCome: readonly DayTicket[], ticket: DayTicket): boolean {
  return toCome.every((other) => {
    if (other === ticket || other.roll !== ticket.roll) return true
    if (other.pass !== ticket.pass) return other.pass > ticket.pass
    return Number(other.ticket.slice(1)) > Number(ticket.ticket.slice(1))
  })
}

/** Acts the order out: reels are strings on a rack per station. */
function minutesOf(order: readonly DayTicket[], { start, minutes: takes }: DayOrderInquiry): number {
  const textOf = ({ shaft, foil, leftMm }: DayTicket['reels'][number]) => `${shaft} ${foil} ${leftMm}`
  const racks = new Map<string, string[]>()
  for (const station of stations)
    racks.set(station, (start?.reels ?? []).filter((row) => row.station === station).map(textOf))
  let pitchMm = start?.pitchMm
  let total = 0
  for (const [i, ticket] of order.entries()) {
    total += takes.setUp
    const before = order[i - 1]
    if (before && (before.roll !== ticket.roll || before.pass !== ticket.pass)) total += takes.rollChange
    if (pitchMm !== undefined && pitchMm !== ticket.pitchMm) total += takes.pitchChange
    pitchMm = ticket.pitchMm
    for (const station of stations) {
      const wanted = ticket.reels.filter((row) => row.station === station).map(textOf)
      if (wanted.length === 0) continue
      for (const text of wanted) if (!racks.get(station)!.includes(text)) total += takes.foilChange
      racks.set(station, wanted)
    }
  }
  return total
}

/** The least minutes of all orders that keep passes. */
function leastMinutes(given: DayOrderInquiry): number {
  let least = Infinity
  const goOn = (order: readonly DayTicket[], toCome: readonly DayTicket[]): void => {
    if (toCome.length === 0) least = Math.min(least, minutesOf(order, given))
    for (const ticket of toCome) {
      if (!keepsPasses(toCome, ticket)) continue
      goOn(
        [...order, ticket],
        toCome.filter((other) => other !== ticket),
      )
    }
  }
  const [first, ...others] = given.tickets
  if (given.fixedFirst) goOn([first!], others)
  else goOn([], given.tickets)
  return least
}

const orderOf = ({ proposed }: DayOrder, { tickets }: DayOrderInquiry): DayTicket[] =>
  proposed.steps.map(({ ticket }) => tickets.find((row) => row.ticket === ticket)!)

function expectSound(given: DayOrderInquiry, limits: Partial<DayOrderLimits>): DayOrder {
  const found = orderDay(given, limits)
  const order = orderOf(found, given)
  expect(order.map(({ ticket }) => ticket).toSorted()).toEqual(given.tickets.map(({ ticket }) => ticket).toSorted())
  if (given.fixedFirst) expect(order[0]).toBe(given.tickets[0])
  for (const [i, ticket] of order.entries()) expect(keepsPasses(order.slice(i), ticket)).toBe(true)
  expect(found.costMinutes).toBeCloseTo(minutesOf(order, given), 5)
  expect(found.given.minutes).toBeCloseTo(minutesOf(given.tickets, given), 5)
  if (found.givenOutOfPass.length === 0) expect(found.costMinutes).toBeLessThanOrEqual(found.given.minutes + 1e-6)
  expect(found.gapMinutes).toBeGreaterThanOrEqual(0)
  expect(found.lowerBoundMinutes).toBeCloseTo(found.costMinutes - found.gapMinutes, 5)
  expect(found.exact).toBe(found.gapMinutes === 0)
  return found
}

interface Gap {
  readonly minutes: number
  readonly share: number
}
const worseOf = (worst: Gap, found: number, best: number): Gap =>
  found - best > worst.minutes + 1e-6 ? { minutes: found - best, share: best > 0 ? (found - best) / best : 0 } : worst

describe(`the order of a day (seed ${seed})`, () => {
  it('is the best of all orders of up to six tickets', () => {
    fc.assert(
      fc.property(inquiry(6), (given) => {
        const found = expectSound(given, {})
        expect(found).toMatchObject({ method: 'exact', exact: true, gapMinutes: 0 })
        expect(found.costMinutes).toBeCloseTo(leastMinutes(given), 5)
      }),
      { numRuns: 300, seed },
    )
  })

  it('is the best of all orders of seven and eight tickets', () => {
    const long = inquiry(8, 7)
    fc.assert(
      fc.property(long, (given) => {
        expect(expectSound(given, {}).costMinutes).toBeCloseTo(leastMinutes(given), 5)
      }),
      { numRuns: 12, seed },
    )
  })

  it('is found by the search as well on days of up to six tickets, and its bound lies below all orders', () => {
    let worst: Gap = { minutes: 0, share: 0 }
    fc.assert(
      fc.property(inquiry(6), (given) => {
        const found = expectSound(given, searchOnly)
        const least = leastMinutes(given)
        expect(found.method).toBe('search')
        expect(found.lowerBoundMinutes).toBeLessThanOrEqual(least + 1e-6)
        expect(found.costMinutes).toBeGreaterThanOrEqual(least - 1e-6)
        worst = worseOf(worst, found.costMinutes, least)
      }),
      { numRuns: 300, seed },
    )
    expect(worst).toEqual({ minutes: 0, share: 0 })
  })

  it('is found by the search within a twentieth of the best on days of up to fourteen tickets', () => {
    let worst: Gap = { minutes: 0, share: 0 }
    fc.assert(
      fc.property(inquiry(14, 9), (given) => {
        const found = expectSound(given, searchOnly)
        const best = orderDay(given)
        expect(best.method).toBe('exact')
        expect(found.lowerBoundMinutes).toBeLessThanOrEqual(best.costMinutes + 1e-6)
        worst = worseOf(worst, found.costMinutes, best.costMinutes)
      }),
      { numRuns: 60, seed },
    )
    expect(worst.share).toBeLessThanOrEqual(0.05)
  })

  it('has a bound below all orders, however dear the only order known is', () => {
    let tight = 0
    fc.assert(
      fc.property(inquiry(9, 3), fc.constantFrom(1.2, 2, 5), (given, times) => {
        const free = { ...given, fixedFirst: false }
        const { tickets, minutes: takes, start = { reels: [] } } = free
        const reduced = reduceDay(tickets, start, takes)
        const fixed = tickets.length * takes.setUp
        const merged = ticketsOf(reduced, [...Array(reduced.model.nodes).keys()]).length - reduced.model.nodes
        const best = orderDay(free).costMinutes - fixed - merged * takes.rollChange
        const steps = boundBelow(reduced.model, Math.ceil(toUnits(best) * times) + 1)
        let step = steps.next()
        while (!step.done) step = steps.next()
        expect(toMinutes(step.value)).toBeLessThanOrEqual(best + 1e-6)
        if (toMinutes(step.value) > best - 1e-6) tight++
      }),
      { numRuns: 400, seed },
    )
    expect(tight).toBeGreaterThan(200)
  })

  it('is the same whenever the same tickets are given', () => {
    fc.assert(
      fc.property(inquiry(12, 6), (given) => {
        for (const limits of [{}, searchOnly]) expect(orderDay(given, limits)).toEqual(orderDay(given, limits))
      }),
      { numRuns: 10, seed },
    )
  })
})
