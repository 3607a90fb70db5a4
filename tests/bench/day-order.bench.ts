// The order of a day: what the exact method and the search take against weighing random orders, and how far from the best they end.
import { seeded } from '../../demo-jobs/random.ts'
import { assert } from '../../src/kernel/assert.ts'
import { planOf } from '../../src/lines/day-order/day-plan.ts'
import type { DayReel, DayTicket } from '../../src/lines/day-order/day-ticket.ts'
import { type DayOrder, orderDay } from '../../src/lines/day-order/order-day.ts'
import type { Bench, BenchTools } from './bench.ts'
import { timed } from './rounds.ts'
import { type Row, timeRow } from './rows.ts'

const minutes = { setUp: 12, foilChange: 15, pitchChange: 20, rollChange: 6 }
const foils = ['gold', 'silver', 'copper', 'red', 'blue', 'green']
const pitchesMm = [50, 60, 75, 80, 95, 100, 120, 150]

/** A day on a line of one foil station, four places side by side; a fifth of the tickets lay no foil. */
function dayOf(count: number, seed: number): DayTicket[] {
  const next = seeded(seed)
  const oneOf = <T>(values: readonly T[]): T => values[Math.floor(next() * values.length)] as T
  return Array.from({ length: count }, (_, i) => {
    const reels: DayReel[] = []
    const plain = next() < 0.2
    for (let place = 0; place < 3 && !plain; place++) {
      const reel = { station: 'foil', shaft: 'upper', foil: oneOf(foils), leftMm: 80 * place, widthMm: 80 }
      if (place === 0 || next() < 0.5) reels.push({ ...reel, wholeWeb: false })
    }
    const base = { ticket: `T${i}`, roll: `R${i}`, pass: 1, webWidthMm: 330, substrate: 'pp-white' }
    return { ...base, pitchMm: oneOf(pitchesMm), reels }
  })
}

/** Least minutes of so many random orders. */
function bestAtRandom(tickets: readonly DayTicket[], orders: number, seed: number): number {
  const next = seeded(seed)
  const order = [...tickets]
  let least = Infinity
  for (let round = 0; round < orders; round++) {
    for (let i = order.length - 1; i > 0; i--) {
      const j = Math.floor(next() * (i + 1))
      const held = order[i] as DayTicket
      order[i] = order[j] as DayTicket
      order[j] = held
    }
    least = Math.min(least, planOf(order, { reels: [] }, minutes).minutes)
  }
  return least
}

interface Shape {
  readonly tickets: number
  readonly what: string
  readonly limits: Parameters<typeof orderDay>[1]
  readonly randomOrders: number
}

const share = (over: number, base: number): number => (100 * (over - base)) / base

// Every round is another day, so that the figures are not those of one lucky day.
async function rowsOf(
  { quick, tell }: BenchTools,
  { tickets: count, what, limits, randomOrders }: Shape,
): Promise<Row[]> {
  const days = Array.from({ length: quick ? 2 : 7 }, (_, round) => dayOf(count, 1_000 + round))
  const figures = { ours: [] as number[], random: [] as number[], gap: [] as number[], over: [] as number[] }
  const givens: number[] = []
  for (const [round, tickets] of days.entries()) {
    let found: DayOrder | undefined
    let chance = 0
    figures.ours.push(await timed(() => (found = orderDay({ tickets, minutes }, limits))))
    figures.random.push(await timed(() => (chance = bestAtRandom(tickets, randomOrders, round))))
    assert(found !== undefined && chance >= found.lowerBoundMinutes, 'no random order is below the bound')
    figures.gap.push((100 * found.gapMinutes) / found.lowerBoundMinutes)
    figures.over.push(share(chance, found.costMinutes))
    givens.push(share(found.given.minutes, found.costMinutes))
    tell(`${count} tickets, ${found.arrangements} arrangements: ${found.costMinutes} min, gap ${found.gapMinutes} min`)
  }
  const against = [
    { what: `the best of ${randomOrders.toLocaleString('en-GB')} random orders`, figures: figures.random },
  ]
  return [
    timeRow({ what: `order ${count} tickets, ${what}`, unit: 'ms', figures: figures.ours, against }),
    timeRow({ what: `order ${count} tickets, ${what}: at most above the best`, unit: '%', figures: figures.gap }),
    timeRow({
      what: `order ${count} tickets: the best random order above the proposed one`,
      unit: '%',
      figures: figures.over,
      note: `the order as given takes ${Math.min(...givens).toFixed(0)} to ${Math.max(...givens).toFixed(0)} % more than the proposed one`,
    }),
  ]
}

/** The search alone on days of which the best is known. */
function knownBest({ quick }: BenchTools): Row {
  const over = Array.from({ length: quick ? 3 : 40 }, (_, round) => {
    const tickets = dayOf(14, 2_000 + round)
    const best = orderDay({ tickets, minutes })
    assert(best.method === 'exact', 'the best is known')
    return share(orderDay({ tickets, minutes }, { cellsMax: 0, workMax: 1_000_000 }).costMinutes, best.costMinutes)
  })
  return timeRow({ what: 'order 14 tickets: the search above the best order', unit: '%', figures: over })
}

export const benchDayOrder: Bench = async (tools) => [
  ...(await rowsOf(tools, { tickets: 12, what: 'exactly', limits: {}, randomOrders: 10_000 })),
  ...(await rowsOf(tools, { tickets: 100, what: 'by search', limits: {}, randomOrders: 2_000 })),
  ...(await rowsOf(tools, { tickets: 200, what: 'by search', limits: {}, randomOrders: 2_000 })),
  knownBest(tools),
]
