// Rounds of measuring: the sides that are compared take turns, so that what else the machine does falls on all of them alike.

/** Runs every side once a round and returns its figures, one a round. `warmUp` rounds come first and are not counted. */
export async function interleave<Name extends string>(
  { rounds, warmUp = 0 }: { readonly rounds: number; readonly warmUp?: number },
  sides: Readonly<Record<Name, () => Promise<number> | number>>,
): Promise<Record<Name, number[]>> {
  const names = Object.keys(sides) as Name[]
  const figures = Object.fromEntries(names.map((name) => [name, [] as number[]])) as Record<Name, number[]>
  for (let round = -warmUp; round < rounds; round++) {
    for (const name of names) {
      const figure = await sides[name]()
      if (round >= 0) figures[name].push(figure)
    }
  }
  return figures
}

/** Milliseconds that the work takes. */
export async function timed(work: () => unknown): Promise<number> {
  const startMs = performance.now()
  await work()
  return performance.now() - startMs
}

export function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b)
  const middle = sorted.length >> 1
  const upper = sorted[middle] ?? Number.NaN
  return sorted.length % 2 === 1 ? upper : ((sorted[middle - 1] ?? upper) + upper) / 2
}

/** Of values in rising order: the smallest that at least this share does not exceed. */
export function quantile(sorted: readonly number[], share: number): number {
  return sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)] ?? Number.NaN
}
