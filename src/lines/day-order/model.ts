// The order of a day in whole numbers: tickets are nodes, and to enter a node changes the state of the line at a cost. Costs count
// in milliseconds, so that sums are exact and orders compare without rounding.
const unitsPerMinute = 60_000
export const toUnits = (minutes: number): number => Math.round(minutes * unitsPerMinute)
export const toMinutes = (units: number): number => units / unitsPerMinute

/** Roll of a state before any ticket: the first roll is put on in any order, so nothing counts. */
export const noRoll = -2
/** Roll of a ticket that shares it with no other: it is always changed. */
export const ownRoll = -1
/** Pitch that nobody stated; any first one is free. */
export const anyPitch = -1
/** A node that needs no reel at a station leaves what hangs there. */
export const keeps = -1

export interface Arrangements {
  readonly size: number
  /** Units to go from one set of reels to another: `from * size + to`. */
  readonly units: Float64Array
}

export interface Model {
  readonly nodes: number
  readonly stations: number
  /** Set of reels of node n at station s: `n * stations + s`, or `keeps`. */
  readonly wants: Int32Array
  readonly arrangements: readonly Arrangements[]
  readonly pitch: Int32Array
  readonly roll: Int32Array
  /** The node that must come before, because it is an earlier part of the same roll; −1 for none. */
  readonly after: Int32Array
  /** Pitch, roll, then the set of reels at each station. */
  readonly start: Int32Array
  /** Of one reel; what stands in `arrangements` are multiples of it. */
  readonly foilUnits: number
  readonly pitchUnits: number
  readonly rollUnits: number
}

/** Enters a node: changes the state at `at` in place and returns the units that it takes. */
export function enter(model: Model, state: Int32Array, node: number): number {
  const { stations, wants, arrangements } = model
  let units = 0
  const pitch = model.pitch[node] as number
  if (state[0] !== pitch) {
    if (state[0] !== anyPitch) units += model.pitchUnits
    state[0] = pitch
  }
  const roll = model.roll[node] as number
  if (state[1] !== noRoll && (roll === ownRoll || state[1] !== roll)) units += model.rollUnits
  state[1] = roll
  for (let s = 0; s < stations; s++) {
    const wanted = wants[node * stations + s] as number
    const hanging = state[s + 2] as number
    if (wanted === keeps || wanted === hanging) continue
    const { size, units: between } = arrangements[s] as Arrangements
    units += between[hanging * size + wanted] as number
    state[s + 2] = wanted
  }
  return units
}
