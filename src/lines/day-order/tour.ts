// An order of nodes with its costs so far, so that a changed order is weighed by its changed places alone.
import { enter, type Model } from './model.ts'

export interface Tour {
  readonly order: Int32Array
  /** Units of the whole order. */
  units(): number
  /**
   * Units of the order made of these pieces, at [from, to) pairs; a piece with from > to runs backwards from `from − 1` to `to`.
   * Infinity as soon as it reaches `limit`.
   */
  weigh(pieces: readonly number[], limit: number): number
  /** Makes that order this one's. */
  take(pieces: readonly number[]): void
  /** Replaces the order. */
  load(order: ArrayLike<number>): void
  /** Nodes entered since it was opened: what the work is measured by. */
  work(): number
}

// In forward pieces the line soon stands as it stood before the change; from there on the costs are known.
export function openTour(model: Model, first: ArrayLike<number>): Tour {
  const width = model.stations + 2
  const order = Int32Array.from(first)
  const count = order.length
  const states = new Int32Array((count + 1) * width)
  const soFar = new Float64Array(count + 1)
  const state = new Int32Array(width)
  let entered = 0

  const stateAt = (at: number): void => {
    for (let i = 0; i < width; i++) state[i] = states[at * width + i] as number
  }
  const standsAsAt = (at: number): boolean => {
    for (let i = 0; i < width; i++) if (state[i] !== states[at * width + i]) return false
    return true
  }
  const enterNode = (at: number): number => {
    entered++
    return enter(model, state, order[at] as number)
  }
  const rebuild = (): void => {
    state.set(model.start)
    for (let at = 0; at <= count; at++) {
      states.set(state, at * width)
      if (at < count) soFar[at + 1] = (soFar[at] as number) + enterNode(at)
    }
  }
  const forwards = (from: number, to: number, limit: number): number => {
    let units = 0
    for (let at = from; at < to && units < limit; at++) {
      if (standsAsAt(at)) {
        stateAt(to)
        return units + (soFar[to] as number) - (soFar[at] as number)
      }
      units += enterNode(at)
    }
    return units
  }
  const backwards = (from: number, to: number, limit: number): number => {
    let units = 0
    for (let at = from - 1; at >= to && units < limit; at--) units += enterNode(at)
    return units
  }
  const load = (given: ArrayLike<number>): void => {
    order.set(given)
    rebuild()
  }
  rebuild()
  return {
    order,
    load,
    units: () => soFar[count] as number,
    work: () => entered,
    weigh(pieces, limit) {
      let units = 0
      state.set(model.start)
      for (let i = 0; i < pieces.length && units < limit; i += 2) {
        const from = pieces[i] as number
        const to = pieces[i + 1] as number
        units += from <= to ? forwards(from, to, limit - units) : backwards(from, to, limit - units)
      }
      return units < limit ? units : Infinity
    },
    take: (pieces) => load(spliced(order, pieces)),
  }
}

/** The nodes of an order in the order of the pieces. */
export function spliced(order: ArrayLike<number>, pieces: readonly number[]): number[] {
  const nodes: number[] = []
  for (let i = 0; i < pieces.length; i += 2) {
    const from = pieces[i] as number
    const to = pieces[i + 1] as number
    for (let at = from; at < to; at++) nodes.push(order[at] as number)
    for (let at = from - 1; at >= to; at--) nodes.push(order[at] as number)
  }
  return nodes
}
