// What no order can stay below. Two bounds, of which the greater counts: each kind of change by itself, and all of them together.
import { cheapestArborescence, type Graph, weightOf } from './arborescence.ts'
import { type Arrangements, anyPitch, enter, keeps, type Model, noRoll, ownRoll } from './model.ts'

/** Forbidden, and yet finite: far above any sum of changes. */
const never = 1e15

const distinct = (values: Iterable<number>): number[] => [...new Set(values)]

/** Every set of reels is put up once at least, from one that hung before it: the cheapest tree of first times. */
function foilBound(model: Model, station: number): number {
  const { size, units } = model.arrangements[station] as Arrangements
  const all = Array.from({ length: model.nodes }, (_, node) => model.wants[node * model.stations + station] as number)
  const sets = [0, ...distinct(all).filter((set) => set !== keeps && set !== 0)]
  const weight = Float64Array.from(sets.flatMap((from) => sets.map((to) => units[from * size + to] as number)))
  const graph: Graph = { size: sets.length, weight }
  return weightOf(graph, cheapestArborescence(graph))
}

/** Each pitch and roll must be changed to once at least, save the one that comes first. */
function boundByKind(model: Model): number {
  const [pitch, roll] = model.start
  const pitches = distinct(model.pitch)
  const pitchChanges = pitch === anyPitch ? pitches.length - 1 : pitches.filter((one) => one !== pitch).length
  const own = [...model.roll].filter((one) => one === ownRoll).length
  const rolls = own + distinct(model.roll).filter((one) => one !== ownRoll && one !== roll).length
  const rollChanges = roll === noRoll ? rolls - 1 : rolls
  let units = pitchChanges * model.pitchUnits + rollChanges * model.rollUnits
  for (let station = 0; station < model.stations; station++) units += foilBound(model, station)
  return units
}

/** What a set takes at least behind a node that left the station alone: from the cheapest set that may hang there then. */
function leastPutUp(model: Model, station: number): Float64Array {
  const { size, units } = model.arrangements[station] as Arrangements
  const wanting = new Int32Array(size)
  for (let node = 0; node < model.nodes; node++) {
    const set = model.wants[node * model.stations + station] as number
    if (set !== keeps) wanting[set] = (wanting[set] as number) + 1
  }
  return Float64Array.from({ length: size }, (_, to) => {
    // It hangs there itself only where another node wants it too, or where it hung at the start.
    const isThere = to === 0 || (wanting[to] as number) > 1
    let least = isThere ? 0 : Infinity
    for (let from = 0; from < size; from++) if (from !== to) least = Math.min(least, units[from * size + to] as number)
    return least
  })
}

function putUpUnits(model: Model, least: readonly Float64Array[], { from, to }: { from: number; to: number }): number {
  let sum = 0
  for (let s = 0; s < model.stations; s++) {
    const wanted = model.wants[to * model.stations + s] as number
    if (wanted === keeps) continue
    const hanging = model.wants[from * model.stations + s] as number
    const { size, units } = model.arrangements[s] as Arrangements
    sum +=
      hanging === keeps ? ((least[s] as Float64Array)[wanted] as number) : (units[hanging * size + wanted] as number)
  }
  return sum
}

/** Vertex 0 is the start, vertex i the node i − 1; no edge weighs more than the change does in any order. */
function changeGraph(model: Model): Graph {
  const size = model.nodes + 1
  const weight = new Float64Array(size * size).fill(never)
  const least = Array.from({ length: model.stations }, (_, station) => leastPutUp(model, station))
  for (let to = 0; to < model.nodes; to++) {
    const before = model.after[to] as number
    if (before < 0) weight[to + 1] = enter(model, Int32Array.from(model.start), to)
    for (let from = 0; from < model.nodes; from++) {
      if (from === to || model.after[from] === to) continue
      const pitch = model.pitch[from] === model.pitch[to] ? 0 : model.pitchUnits
      const stays = model.roll[to] !== ownRoll && model.roll[from] === model.roll[to]
      const units = pitch + (stays ? 0 : model.rollUnits) + putUpUnits(model, least, { from, to })
      weight[(from + 1) * size + to + 1] = units
    }
  }
  return { size, weight }
}

interface Ascent {
  readonly graph: Graph
  /** Penalty on every edge out of a vertex: an order leaves each vertex once at most, a tree may leave it often. */
  readonly penalty: Float64Array
}

function relax({ graph, penalty }: Ascent): { readonly units: number; readonly excess: Int32Array } {
  const { size } = graph
  const weight = Float64Array.from(graph.weight)
  for (let from = 0; from < size; from++) {
    const extra = penalty[from] as number
    for (let at = from * size; at < (from + 1) * size; at++) weight[at] = (weight[at] as number) + extra
  }
  const penalized: Graph = { size, weight }
  const parents = cheapestArborescence(penalized)
  const excess = new Int32Array(size).fill(-1)
  for (let to = 1; to < size; to++) excess[parents[to] as number] = (excess[parents[to] as number] as number) + 1
  const paid = penalty.reduce((sum, units) => sum + units, 0)
  return { units: weightOf(penalized, parents) - paid, excess }
}

const divisor = (a: number, b: number): number => (b === 0 ? a : divisor(b, a % b))

/** Orders cost whole numbers of changes: the greatest step that all their sums are multiples of. */
const stepOf = ({ foilUnits, pitchUnits, rollUnits }: Model): number =>
  [pitchUnits, rollUnits].reduce(divisor, foilUnits)

/** A bound between two possible sums rises to the greater. */
function roundedUp(units: number, step: number): number {
  const slack = 1e-3
  return step === 0 ? 0 : Math.ceil((units - slack) / step) * step
}

const ascentsMax = 150

/**
 * A number of units that no order of the nodes stays below. Every order is a tree from the start that leaves no vertex twice; the
 * cheapest tree with penalties on leaving often (Lagrange multipliers, raised by subgradients after Held and Karp) is a bound at
 * every step. `upperUnits` is what some order costs. Yields between steps.
 */
export function* boundBelow(model: Model, upperUnits: number): Generator<void, number> {
  const sumStep = stepOf(model)
  let best = roundedUp(boundByKind(model), sumStep)
  const graph = changeGraph(model)
  const penalty = new Float64Array(graph.size)
  let pace = 1
  let idle = 0
  for (let ascent = 0; ascent < ascentsMax && best < upperUnits && pace > 1e-3; ascent++) {
    yield
    const { units, excess } = relax({ graph, penalty })
    const norm = excess.reduce((sum, one) => sum + one * one, 0)
    const bound = roundedUp(units, sumStep)
    idle = bound > best ? 0 : idle + 1
    best = Math.max(best, bound)
    if (norm === 0) break
    if (idle > 8) {
      idle = 0
      pace /= 2
    }
    const step = (pace * Math.max(upperUnits - units, 0)) / norm
    for (const [vertex, one] of excess.entries())
      penalty[vertex] = Math.max(0, (penalty[vertex] as number) + step * one)
  }
  return Math.min(best, upperUnits)
}
