// The order of a day's tickets in which foil, pitch and roll changes cost least, and how far from the best it can be.
import { setImmediate } from 'node:timers/promises'
import { assert } from '../../kernel/assert.ts'
import { Problem } from '../../kernel/problem.ts'
import { boundBelow } from './bound.ts'
import { type DayPlan, type LineNow, lineAfter, planOf } from './day-plan.ts'
import type { DayMinutes, DayTicket, LineState } from './day-ticket.ts'
import { solveExactly } from './exact.ts'
import { enter, type Model, toMinutes, toUnits } from './model.ts'
import { type Reduced, reduceDay, ticketsOf } from './reduce.ts'
import { cheapestFirsts, nearestNext, searchOrder } from './search.ts'

export const dayTicketsMax = 200

export interface DayOrderInquiry {
  /** In the order as given, each once; at most `dayTicketsMax`. */
  readonly tickets: readonly DayTicket[]
  readonly minutes: DayMinutes
  /** The line now; absent: nothing hangs on it, and any pitch is free at first. */
  readonly start?: LineState
  /** The first ticket stays the first. */
  readonly fixedFirst?: boolean
}

export interface DayOrderLimits {
  /** Greatest table for the exact method, in numbers of 8 bytes; 0 leaves it out. */
  readonly cellsMax: number
  /** Tickets that the search may enter before it ends: bounded work, so that the same tickets give the same order. */
  readonly workMax: number
}

export interface DayOrder {
  readonly given: DayPlan
  /** Tickets that stand before an earlier pass, or an earlier part, of their roll in the order as given. */
  readonly givenOutOfPass: readonly string[]
  readonly proposed: DayPlan
  /** `exact`: all orders were weighed. `search`: insertion and exchange, held against a bound that no order stays below. */
  readonly method: 'exact' | 'search'
  /** Ways in which these tickets want the line; those that want it alike run one after another. */
  readonly arrangements: number
  readonly costMinutes: number
  readonly lowerBoundMinutes: number
  /** The proposed order is at most so much dearer than the best. */
  readonly gapMinutes: number
  /** No order is cheaper. */
  readonly exact: boolean
}

const defaultLimits: DayOrderLimits = { cellsMax: 2 ** 22, workMax: 20_000_000 }

/** No ticket may stand before an earlier pass of its roll. */
function outOfPass(tickets: readonly DayTicket[]): string[] {
  const isEarly = (own: DayTicket, i: number) =>
    tickets.some((other, j) => j > i && other.roll === own.roll && other.pass < own.pass)
  return tickets.filter(isEarly).map(({ ticket }) => ticket)
}

function demandSound({ tickets, fixedFirst }: DayOrderInquiry): void {
  if (tickets.length > dayTicketsMax)
    throw new Problem('bad-request', `at most ${dayTicketsMax} tickets are ordered at once`, {
      measured: tickets.length,
      limit: dayTicketsMax,
    })
  const names = tickets.map(({ ticket }) => ticket)
  const twice = names.find((name, i) => names.indexOf(name) !== i)
  if (twice !== undefined) throw new Problem('bad-request', `ticket ${twice} is named twice`, { measured: twice })
  const [first] = tickets
  const early = fixedFirst ? outOfPass(tickets).find((name) => name === first?.ticket) : undefined
  if (early !== undefined)
    throw new Problem(
      'bad-request',
      `${early} cannot stay the first: an earlier pass of its roll is among the others`,
      {
        measured: early,
      },
    )
}

function unitsOf(model: Model, order: readonly number[]): number {
  const state = Int32Array.from(model.start)
  return order.reduce((units, node) => units + enter(model, state, node), 0)
}

// In whole milliseconds, so that the sums of the plan are those of the model.
const inWholeUnits = (minutes: DayMinutes): DayMinutes => ({
  setUp: toMinutes(toUnits(minutes.setUp)),
  foilChange: toMinutes(toUnits(minutes.foilChange)),
  pitchChange: toMinutes(toUnits(minutes.pitchChange)),
  rollChange: toMinutes(toUnits(minutes.rollChange)),
})

interface Found {
  readonly method: DayOrder['method']
  /** Indices into the tickets. */
  readonly order: readonly number[]
  /** Units by which the order may be dearer than the best. */
  readonly gapUnits: number
}

function* findOrder(reduced: Reduced, limits: DayOrderLimits): Generator<void, Found> {
  const { model } = reduced
  const best = yield* solveExactly(model, limits.cellsMax)
  if (best) return { method: 'exact', order: ticketsOf(reduced, best), gapUnits: 0 }
  const given = Array.from({ length: model.nodes }, (_, node) => node)
  const quick = nearestNext(model, cheapestFirsts(model, given)[0] ?? 0)
  yield
  const boundUnits = yield* boundBelow(model, unitsOf(model, quick))
  const good = yield* searchOrder(model, given, { boundUnits, workMax: limits.workMax })
  return { method: 'search', order: ticketsOf(reduced, good), gapUnits: unitsOf(model, good) - boundUnits }
}

// Sums of decimal minutes, without the dust of binary fractions.
const rounded = (minutes: number): number => Math.round(minutes * 1e6) / 1e6

/**
 * Orders a day, a bounded piece of work between yields.
 *
 * What counts: between two tickets the roll is changed (unless both run one pass of one roll) and the pitch where it differs; at
 * each station that the ticket needs foil on, every reel that does not hang there already, on the same shaft at the same place,
 * is put up. A station that a ticket needs no foil on keeps what hangs there, so a reel may wait through several tickets. Taking
 * reels off costs nothing of its own. Tickets of one roll keep their order: by pass, then as given. Set-up minutes are the same in
 * any order. How much foil is left on a reel, when a ticket is due and whether it is ready are not looked at.
 *
 * Method: tickets that want the line alike are one arrangement. While 2^arrangements × states of the line fits `cellsMax` (some 17
 * arrangements on one foil station) dynamic programming finds the best order. Beyond that: nearest next and cheapest insertion, block,
 * reversal and swap exchanges, shaken again and again, against the bound of `boundBelow`. An order that gains nothing on the
 * one given is not proposed.
 */
export function* dayOrderSteps(
  inquiry: DayOrderInquiry,
  change: Partial<DayOrderLimits> = {},
): Generator<void, DayOrder> {
  demandSound(inquiry)
  const { tickets, start = { reels: [] }, fixedFirst = false } = inquiry
  const minutes = inWholeUnits(inquiry.minutes)
  const [first, ...others] = tickets
  const held = fixedFirst && first ? [first] : []
  const free = held.length > 0 ? others : tickets
  const from: LineNow = held.reduce<LineNow>(lineAfter, start)
  yield
  const reduced = reduceDay(free, from, minutes)
  yield
  const found = yield* findOrder(reduced, { ...defaultLimits, ...change })
  const ordered = [...held, ...found.order.map((i) => free[i] as DayTicket)]
  assert(new Set(ordered).size === tickets.length && ordered.length === tickets.length, 'every ticket stands once')
  const given = planOf(tickets, start, minutes)
  const better = planOf(ordered, start, minutes)
  const givenOutOfPass = outOfPass(tickets)
  const gains = givenOutOfPass.length > 0 || toUnits(better.minutes) < toUnits(given.minutes)
  const proposed = gains ? better : given
  assert(gains || toUnits(better.minutes) === toUnits(given.minutes), 'the order given is never the better one')
  const gapMinutes = rounded(toMinutes(found.gapUnits))
  return {
    given,
    givenOutOfPass,
    proposed,
    method: found.method,
    arrangements: reduced.model.nodes,
    costMinutes: rounded(proposed.minutes),
    lowerBoundMinutes: rounded(proposed.minutes - gapMinutes),
    gapMinutes,
    exact: found.gapUnits === 0,
  }
}

/** Orders a day at one go. Problem `bad-request` for too many tickets, one named twice, or a first that cannot be it. */
export function orderDay(inquiry: DayOrderInquiry, change: Partial<DayOrderLimits> = {}): DayOrder {
  const steps = dayOrderSteps(inquiry, change)
  while (true) {
    const { done, value } = steps.next()
    if (done) return value
  }
}

/** Orders a day in turns of some milliseconds (tens, at most), so that a line's answers are not kept waiting. Problems as of `orderDay`. */
export async function orderDayInTurns(inquiry: DayOrderInquiry): Promise<DayOrder> {
  const steps = dayOrderSteps(inquiry)
  while (true) {
    const { done, value } = steps.next()
    if (done) return value
    await setImmediate()
  }
}
