// The order of a day on days that are small enough to check by hand; the properties compare it with all orders.
import { describe, expect, it } from 'vitest'
import { Problem } from '../../kernel/problem.ts'
import type { DayMinutes, DayReel, DayTicket, LineState } from './day-ticket.ts'
import { type DayOrderInquiry, dayOrderSteps, dayTicketsMax, orderDay, orderDayInTurns } from './order-day.ts'

const minutes: DayMinutes = { setUp: 10, foilChange: 12, pitchChange: 20, rollChange: 5 }
const reel = (foil: string, leftMm = 0, station = 'foil'): DayReel => ({
  station,
  shaft: '',
  foil,
  leftMm,
  widthMm: 100,
  wholeWeb: false,
})
const hang = (foils: string, station = 'foil'): DayReel[] =>
  [...foils].map((foil, i) => reel(foil, 100 * i, station)).filter(({ foil }) => foil !== '-')

/** A ticket that needs a reel for each letter, side by side from the left. */
const needs = (ticket: string, pitchMm: number, foils: string, change: Partial<DayTicket> = {}): DayTicket => ({
  ticket,
  roll: `R${ticket}`,
  pass: 1,
  pitchMm,
  webWidthMm: 300,
  substrate: 'pp-white',
  reels: hang(foils),
  ...change,
})
const orderOf = (tickets: readonly DayTicket[], change: Partial<DayOrderInquiry> = {}) =>
  orderDay({ tickets, minutes, ...change })
const names = (tickets: readonly DayTicket[], change: Partial<DayOrderInquiry> = {}): string =>
  orderOf(tickets, change)
    .proposed.steps.map(({ ticket }) => ticket)
    .join('')

function refusalOf(inquiry: Partial<DayOrderInquiry>): Problem {
  try {
    orderDay({ tickets: [], minutes, ...inquiry })
  } catch (error) {
    if (error instanceof Problem) return error
  }
  return expect.unreachable('nothing was refused')
}

describe('the order of a day', () => {
  it('runs tickets of one foil and one pitch together, and says what each change takes', () => {
    const found = orderOf([needs('A', 60, 'g'), needs('B', 75, 's'), needs('C', 60, 'g'), needs('D', 75, 'g')])
    // Set-up 4 × 10, rolls 3 × 5; gold, then silver: 2 × 12; one pitch change: 20.
    expect([found.given.minutes, found.proposed.minutes]).toEqual([40 + 15 + 36 + 60, 40 + 15 + 24 + 20])
    expect(found.proposed.steps.map(({ ticket, minutes: all }) => [ticket, all])).toEqual([
      ['A', 22],
      ['C', 15],
      ['D', 35],
      ['B', 27],
    ])
    expect(found.proposed.steps[2]).toMatchObject({ pitchMm: { from: 60, to: 75 }, putUp: [], takenOff: [] })
    expect(found.proposed.steps[3]).toMatchObject({ putUp: [reel('s')], takenOff: [reel('g')], roll: { from: 'RD' } })
    expect(found).toMatchObject({ method: 'exact', exact: true, gapMinutes: 0, lowerBoundMinutes: 99, arrangements: 3 })
  })

  it('puts up only the reels that do not hang there yet', () => {
    const [, second] = orderOf([needs('A', 60, 'gs'), needs('B', 60, 'gr')]).given.steps
    expect(second).toMatchObject({ foilMinutes: 12, putUp: [reel('r', 100)], takenOff: [reel('s', 100)] })
  })

  it('lets a reel wait through tickets that need none at its station', () => {
    const tickets = [needs('A', 60, 'g'), needs('B', 60, '', { reels: hang('x', 'flexo') }), needs('C', 60, 'g')]
    const found = orderOf(tickets)
    expect(found.given.steps.map(({ foilMinutes }) => foilMinutes)).toEqual([12, 12, 0])
    expect(names(tickets)).toBe('ABC')
  })

  it('begins with what the line stands ready for', () => {
    const tickets = [needs('A', 60, 'g'), needs('B', 75, 's')]
    const start: LineState = { pitchMm: 75, reels: hang('s') }
    expect(names(tickets)).toBe('AB')
    expect(names(tickets, { start })).toBe('BA')
    expect(orderOf(tickets, { start }).proposed.steps[0]).toMatchObject({ minutes: 10, putUp: [] })
  })

  it('leaves the first ticket in its place where told to', () => {
    const tickets = [needs('A', 60, 'g'), needs('B', 75, 's'), needs('C', 60, 'g')]
    const start: LineState = { pitchMm: 75, reels: hang('s') }
    expect(names(tickets, { start })).toBe('BAC')
    expect(names(tickets, { start, fixedFirst: true })).toBe('ACB')
    expect(names(tickets.slice(0, 1), { fixedFirst: true })).toBe('A')
  })

  it('keeps the order as given where no other takes less', () => {
    expect(names([needs('B', 60, 'g'), needs('A', 60, 'g'), needs('C', 60, 'g')])).toBe('BAC')
    const free = { setUp: 0, foilChange: 0, pitchChange: 0, rollChange: 0 }
    expect(names([needs('B', 60, 'g'), needs('A', 75, 's'), needs('C', 60, 'g')], { minutes: free })).toBe('BAC')
  })

  it('never runs a later pass before an earlier one, however dear', () => {
    const tickets = [
      needs('A', 60, 'g', { roll: 'R', pass: 2 }),
      needs('B', 60, 'g'),
      needs('C', 75, 's', { roll: 'R', pass: 1 }),
    ]
    const found = orderOf(tickets, { start: { pitchMm: 60, reels: hang('g') } })
    expect(found.givenOutOfPass).toEqual(['A'])
    expect(names(tickets)).toMatch(/C.*A/)
    expect(found.proposed.minutes).toBeGreaterThan(found.given.minutes)
    expect(refusalOf({ tickets, fixedFirst: true }).message).toContain('A cannot stay the first')
  })

  it('leaves a roll on the unwinder for the next ticket of the same pass', () => {
    const part = { roll: 'R' }
    const tickets = [needs('A', 60, 'g', part), needs('B', 60, 'g'), needs('C', 60, 'g', part)]
    expect(names(tickets)).toBe('ACB')
    expect(orderOf(tickets).proposed.rollMinutes).toBe(5)
  })

  it('takes nothing for nothing', () => {
    expect(orderOf([])).toMatchObject({ costMinutes: 0, exact: true, proposed: { steps: [] } })
    expect(orderOf([needs('A', 60, 'g')])).toMatchObject({ costMinutes: 22, exact: true })
  })

  it('refuses too many tickets and one that is named twice', () => {
    const many = Array.from({ length: dayTicketsMax + 1 }, (_, i) => needs(`T${i}`, 60, 'g'))
    expect(refusalOf({ tickets: many })).toMatchObject({ code: 'bad-request', place: { measured: 201, limit: 200 } })
    const twice = refusalOf({ tickets: [needs('A', 60, 'g'), needs('A', 60, 'g')] })
    expect([twice.code, twice.message]).toEqual(['bad-request', 'ticket A is named twice'])
  })
})

describe('a long day', () => {
  const letters = 'gsrcbkwp'
  const tickets = Array.from({ length: dayTicketsMax }, (_, i) =>
    needs(`T${i}`, 50 + 5 * ((i * 7) % 11), `${letters[(i * 5) % 8]}${letters[(i * 3) % 7]}`),
  )

  it('is ordered in turns as at one go, with a bound that says how far off it may be', async () => {
    const found = orderDay({ tickets, minutes }, { workMax: 100_000 })
    expect(found.method).toBe('search')
    expect(found.costMinutes).toBeLessThan(0.6 * found.given.minutes)
    expect(found.gapMinutes).toBe(found.costMinutes - found.lowerBoundMinutes)
    expect(found.gapMinutes / found.costMinutes).toBeLessThan(0.1)
    const few = tickets.slice(0, 20)
    expect(await orderDayInTurns({ tickets: few, minutes })).toEqual(orderDay({ tickets: few, minutes }))
  })

  it('gives way often', () => {
    const steps = dayOrderSteps({ tickets, minutes }, { workMax: 100_000 })
    let turns = 0
    while (!steps.next().done) turns++
    expect(turns).toBeGreaterThan(100)
  })
})
