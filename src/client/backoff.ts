// How long to wait before the next attempt to connect: doubling, and drawn, so that the lines of a plant do not all come back at once.

const firstMs = 100
const longestMs = 5_000

/** Ms to wait after `failures` attempts in a row that came to nothing (from 1); `random` gives 0 to 1. */
export function retryAfterMs(failures: number, random: () => number): number {
  const fullMs = Math.min(longestMs, firstMs * 2 ** Math.min(failures - 1, 30))
  return fullMs / 2 + (fullMs / 2) * random()
}
