// The best order, exactly: dynamic programming over (nodes that ran, state of the line), after Held and Karp. The state carries what
// hangs on stations that the last ticket left alone, so nothing is lost.
import { assert } from '../../kernel/assert.ts'
import { enter, type Model } from './model.ts'

interface States {
  readonly count: number
  /** State and cost after entering node k in state s, at `s * nodes + k`; state 0 is the start. */
  readonly next: Int32Array
  readonly units: Float64Array
}

/** All states that any order can come to; undefined where there are more than `countMax`. */
function statesOf(model: Model, countMax: number): States | undefined {
  const { nodes, start } = model
  const numbers = new Map([[start.join(), 0]])
  const states = [start]
  const next: number[] = []
  const units: number[] = []
  for (let s = 0; s < states.length; s++) {
    for (let node = 0; node < nodes; node++) {
      const state = Int32Array.from(states[s] as Int32Array)
      units.push(enter(model, state, node))
      const key = state.join()
      const known = numbers.get(key)
      next.push(known ?? states.length)
      if (known !== undefined) continue
      if (states.length === countMax) return undefined
      numbers.set(key, states.length)
      states.push(state)
    }
  }
  return { count: states.length, next: Int32Array.from(next), units: Float64Array.from(units) }
}

interface Table {
  readonly states: States
  /** Least units for the nodes outside of a mask from a state on: `mask * count + state`. */
  readonly toGo: Float64Array
}

// Sets of nodes are bits of a number; a node may run once the one it follows is in the set.
function mayRun(model: Model, mask: number, node: number): boolean {
  const before = model.after[node] as number
  return !(mask & (1 << node)) && (before < 0 || (mask & (1 << before)) !== 0)
}

/** Fills in a mask whose larger masks are filled in. */
function look(model: Model, { states, toGo }: Table, mask: number): void {
  const { count, next, units } = states
  const { nodes } = model
  for (let node = 0; node < nodes; node++) {
    if (!mayRun(model, mask, node)) continue
    const then = (mask | (1 << node)) * count
    for (let s = 0; s < count; s++) {
      const edge = s * nodes + node
      const least = (units[edge] as number) + (toGo[then + (next[edge] as number)] as number)
      if (least < (toGo[mask * count + s] as number)) toGo[mask * count + s] = least
    }
  }
}

/** Follows the least from the start; the same additions give the same numbers. Of equals the one given earlier runs first. */
function follow(model: Model, { states, toGo }: Table): number[] {
  const { nodes } = model
  const { count, next, units } = states
  const order: number[] = []
  let mask = 0
  let s = 0
  while (order.length < nodes) {
    const node = Array.from({ length: nodes }, (_, i) => i).find((candidate) => {
      const edge = s * nodes + candidate
      const then = (mask | (1 << candidate)) * count + (next[edge] as number)
      return (
        mayRun(model, mask, candidate) && (units[edge] as number) + (toGo[then] as number) === toGo[mask * count + s]
      )
    })
    assert(node !== undefined, 'some node is the least to go on with')
    order.push(node)
    mask |= 1 << node
    s = next[s * nodes + node] as number
  }
  return order
}

/**
 * The cheapest order of a model's nodes, or undefined where its table would hold more than `cellsMax` numbers
 * (2^nodes × states). Yields between bounded pieces of work.
 */
export function* solveExactly(model: Model, cellsMax: number): Generator<void, readonly number[] | undefined> {
  if (model.nodes > 24 || 2 ** model.nodes > cellsMax) return undefined
  const masks = 2 ** model.nodes
  const states = statesOf(model, Math.floor(cellsMax / masks))
  if (!states) return undefined
  const table: Table = { states, toGo: new Float64Array(masks * states.count).fill(Infinity) }
  table.toGo.fill(0, (masks - 1) * states.count)
  const workBetween = 200_000
  let work = 0
  for (let mask = masks - 2; mask >= 0; mask--) {
    look(model, table, mask)
    work += states.count * model.nodes
    if (work < workBetween) continue
    work = 0
    yield
  }
  return follow(model, table)
}
