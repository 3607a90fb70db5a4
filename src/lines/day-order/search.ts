// A good order where there are too many nodes for the best one: cheapest insertion and nearest next, then exchanges until none helps,
// then the same from orders that were shaken by a fixed sequence. The same tickets always give the same order.
import { enter, type Model } from './model.ts'
import { openTour, spliced, type Tour } from './tour.ts'

/** Whether every node runs behind the one that it follows. */
export function keepsRolls({ after, nodes }: Model, order: ArrayLike<number>): boolean {
  const place = new Int32Array(nodes).fill(-1)
  for (let at = 0; at < order.length; at++) {
    const node = order[at] as number
    const before = after[node] as number
    if (before >= 0 && (place[before] as number) < 0) return false
    place[node] = at
  }
  return true
}

// Exchanges that may help, as pieces (see Tour): two neighbouring blocks change places, the smaller of `blockMax` nodes at most …
function* blockSwaps(count: number, blockMax: number): Generator<readonly number[]> {
  for (let i = 0; i < count; i++) {
    for (let j = i + 1; j < count; j++) {
      const kMax = j - i <= blockMax ? count : Math.min(count, j + blockMax)
      for (let k = j + 1; k <= kMax; k++) yield [0, i, j, k, i, j, k, count]
    }
  }
}

// … a block runs backwards …
function* reversals(count: number): Generator<readonly number[]> {
  for (let i = 0; i < count; i++) for (let j = i + 2; j <= count; j++) yield [0, i, j, i, j, count]
}

// … two nodes change places.
function* nodeSwaps(count: number): Generator<readonly number[]> {
  for (let i = 0; i < count; i++)
    for (let j = i + 1; j < count; j++) yield [0, i, j, j + 1, i + 1, j, i, i + 1, j + 1, count]
}

function* exchanges(count: number): Generator<readonly number[]> {
  yield* blockSwaps(count, count > 100 ? 3 : 8)
  yield* reversals(count)
  yield* nodeSwaps(count)
}

const workBetween = 20_000

interface Search {
  readonly model: Model
  /** No order is cheaper: nothing is left to look for. */
  readonly boundUnits: number
  /** Nodes that may be entered in all. */
  readonly workMax: number
  work: number
}

const isOver = (search: Search, units: number): boolean => units <= search.boundUnits || search.work > search.workMax

/** Takes exchanges that help until none does. */
function* improve(search: Search, tour: Tour): Generator<void, void> {
  const count = tour.order.length
  const before = search.work - tour.work()
  let nextPause = tour.work() + workBetween
  for (let helped = true; helped; ) {
    helped = false
    for (const pieces of exchanges(count)) {
      const units = tour.weigh(pieces, tour.units())
      if (units < tour.units() && keepsRolls(search.model, spliced(tour.order, pieces))) {
        tour.take(pieces)
        helped = true
      }
      if (tour.work() < nextPause) continue
      nextPause = tour.work() + workBetween
      search.work = before + tour.work()
      if (isOver(search, tour.units())) return
      yield
    }
  }
  search.work = before + tour.work()
}

/** Behind each node the one that is cheapest to enter, beginning with `first`. */
export function nearestNext(model: Model, first: number): number[] {
  const state = Int32Array.from(model.start)
  const tried = Int32Array.from(model.start)
  const left = new Set(Array.from({ length: model.nodes }, (_, node) => node))
  const order: number[] = []
  let node = first
  while (true) {
    enter(model, state, node)
    left.delete(node)
    order.push(node)
    if (left.size === 0) return order
    let least = Infinity
    for (const candidate of left) {
      const before = model.after[candidate] as number
      if (before >= 0 && left.has(before)) continue
      tried.set(state)
      const units = enter(model, tried, candidate)
      if (units >= least) continue
      least = units
      node = candidate
    }
  }
}

/** Puts in one node after the other where it costs least. */
function* cheapestInsertion(model: Model, nodes: readonly number[]): Generator<void, number[]> {
  let order: number[] = []
  for (const node of nodes) {
    yield
    const last = order.length
    const tour = openTour(model, [...order, node])
    let best = [0, last + 1]
    let least = tour.units()
    for (let at = 0; at < last; at++) {
      const pieces = [0, at, last, last + 1, at, last]
      const units = tour.weigh(pieces, least)
      if (units >= least || !keepsRolls(model, spliced(tour.order, pieces))) continue
      least = units
      best = pieces
    }
    order = spliced(tour.order, best)
  }
  return order
}

/** The same nodes, each behind the one that it follows. */
function inRollOrder({ after }: Model, nodes: readonly number[]): number[] {
  const placed = new Set<number>()
  const place = (node: number): void => {
    const before = after[node] as number
    if (before >= 0) place(before)
    placed.add(node)
  }
  for (const node of nodes) place(node)
  return [...placed]
}

/** Numbers below `below`, always the same sequence (a linear congruential generator, Numerical Recipes' constants). */
function fixedSequence(): (below: number) => number {
  let value = 1
  return (below) => {
    value = (Math.imul(value, 1_664_525) + 1_013_904_223) >>> 0
    return Math.floor((value / 2 ** 32) * below)
  }
}

/** Two neighbouring blocks change places, wherever it falls. */
function shaken(order: ArrayLike<number>, next: (below: number) => number): number[] {
  const cuts = [0, 1, 2].map(() => next(order.length + 1)).toSorted((a, b) => a - b)
  const [i = 0, j = 0, k = 0] = cuts
  return spliced(order, [0, i, j, k, i, j, k, order.length])
}

function* startsOf(model: Model, given: readonly number[]): Generator<void, readonly number[][]> {
  const starts = [inRollOrder(model, given)]
  for (const first of cheapestFirsts(model, given).slice(0, 3)) {
    yield
    starts.push(nearestNext(model, first))
  }
  const alike = given.toSorted(
    (a, b) =>
      (model.pitch[a] as number) - (model.pitch[b] as number) ||
      (model.wants[a * model.stations] as number) - (model.wants[b * model.stations] as number) ||
      a - b,
  )
  for (const nodes of [given, alike]) starts.push(yield* cheapestInsertion(model, inRollOrder(model, nodes)))
  return starts
}

const enterUnits = (model: Model, node: number): number => enter(model, Int32Array.from(model.start), node)

/** Nodes that may run first, the cheapest to enter before the others. */
export const cheapestFirsts = (model: Model, given: readonly number[]): readonly number[] =>
  given
    .filter((node) => (model.after[node] as number) < 0)
    .toSorted((a, b) => enterUnits(model, a) - enterUnits(model, b))

export interface SearchLimits {
  readonly boundUnits: number
  /** Nodes entered before the search ends with the best order so far. */
  readonly workMax: number
}

/** A good order of the nodes, never dearer than `given` where that keeps the rolls in order. Yields between pieces of work. */
export function* searchOrder(
  model: Model,
  given: readonly number[],
  { boundUnits, workMax }: SearchLimits,
): Generator<void, readonly number[]> {
  const search: Search = { model, boundUnits, workMax, work: 0 }
  const starts = yield* startsOf(model, given)
  const tour = openTour(model, starts[0] ?? given)
  let best: number[] = []
  let least = Infinity
  const keepBest = (): void => {
    if (tour.units() >= least) return
    least = tour.units()
    best = [...tour.order]
  }
  for (const start of starts) {
    yield
    tour.load(start)
    keepBest()
    if (isOver(search, least)) continue
    yield* improve(search, tour)
    keepBest()
  }
  const next = fixedSequence()
  while (!isOver(search, least)) {
    yield
    const order = shaken(shaken(best, next), next)
    search.work += best.length
    if (!keepsRolls(model, order)) continue
    tour.load(order)
    yield* improve(search, tour)
    keepBest()
  }
  return best
}
