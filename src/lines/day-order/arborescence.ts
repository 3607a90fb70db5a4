// The cheapest arborescence of a dense directed graph: one edge into every vertex but the root, all reached from it.
// By contracting cycles, after Chu, Liu and Edmonds.

export interface Graph {
  readonly size: number
  /** Weight of the edge from → to at `from * size + to`. */
  readonly weight: Float64Array
}

/** For each vertex the one before it; vertex 0 is the root and has −1. */
export type Parents = Int32Array

function cheapestParents({ size, weight }: Graph): Parents {
  const parents = new Int32Array(size).fill(-1)
  for (let to = 1; to < size; to++) {
    let least = Infinity
    for (let from = 0; from < size; from++) {
      const units = weight[from * size + to] as number
      if (from === to || units >= least) continue
      least = units
      parents[to] = from
    }
  }
  return parents
}

interface Parts {
  readonly count: number
  /** The part of each vertex; the root's is 0. A cycle is one part, any other vertex a part of its own. */
  readonly of: Int32Array
  readonly inCycle: Uint8Array
}

/** Finds the cycles that the parents make; undefined where there is none. */
function cyclesOf(parents: Parents): Parts | undefined {
  const size = parents.length
  const seenBy = new Int32Array(size).fill(-1)
  const inCycle = new Uint8Array(size)
  const of = new Int32Array(size).fill(-1)
  let count = 1
  let found = false
  of[0] = 0
  for (let from = 1; from < size; from++) {
    let at = from
    while (at > 0 && seenBy[at] === -1) {
      seenBy[at] = from
      at = parents[at] as number
    }
    if (at <= 0 || seenBy[at] !== from || inCycle[at]) continue
    found = true
    for (let member = at; !inCycle[member]; member = parents[member] as number) {
      inCycle[member] = 1
      of[member] = count
    }
    count++
  }
  if (!found) return undefined
  for (let vertex = 1; vertex < size; vertex++) if (!inCycle[vertex]) of[vertex] = count++
  return { count, of, inCycle }
}

interface Contracted {
  readonly graph: Graph
  /** The edge between vertices behind each edge between parts: `from * size + to`. */
  readonly edge: Int32Array
}

function contract({ size, weight }: Graph, parents: Parents, { count, of, inCycle }: Parts): Contracted {
  const lighter = new Float64Array(count * count).fill(Infinity)
  const edge = new Int32Array(count * count).fill(-1)
  for (let to = 1; to < size; to++) {
    // An edge into a cycle takes the place of the one that the cycle has there.
    const saved = inCycle[to] ? (weight[(parents[to] as number) * size + to] as number) : 0
    for (let from = 0; from < size; from++) {
      if (of[from] === of[to]) continue
      const at = (of[from] as number) * count + (of[to] as number)
      const units = (weight[from * size + to] as number) - saved
      if (units >= (lighter[at] as number)) continue
      lighter[at] = units
      edge[at] = from * size + to
    }
  }
  return { graph: { size: count, weight: lighter }, edge }
}

/** The parents of a cheapest arborescence from vertex 0. Weights are finite; O(n²) a level of contraction, O(n³) at most. */
export function cheapestArborescence(graph: Graph): Parents {
  const parents = cheapestParents(graph)
  const parts = cyclesOf(parents)
  if (!parts) return parents
  const { graph: smaller, edge } = contract(graph, parents, parts)
  const outer = cheapestArborescence(smaller)
  for (let part = 1; part < smaller.size; part++) {
    const inner = edge[(outer[part] as number) * smaller.size + part] as number
    parents[inner % graph.size] = Math.floor(inner / graph.size)
  }
  return parents
}

export function weightOf({ size, weight }: Graph, parents: Parents): number {
  let units = 0
  for (let to = 1; to < size; to++) units += weight[(parents[to] as number) * size + to] as number
  return units
}
