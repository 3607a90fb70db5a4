// Waiting for a condition that changes when something is heard: looked at again at every poke.

export interface Waits {
  poke(): void
  /** False where it did not come true in time (wall clock, ms). */
  until(condition: () => boolean, withinMs: number): Promise<boolean>
}

export function openWaits(): Waits {
  const waiting = new Set<() => void>()
  return {
    poke() {
      for (const look of waiting) look()
    },
    until(condition, withinMs) {
      if (condition()) return Promise.resolve(true)
      return new Promise((resolve) => {
        const end = (met: boolean): void => {
          waiting.delete(look)
          clearTimeout(timer)
          resolve(met)
        }
        const look = (): void => {
          if (condition()) end(true)
        }
        const timer = setTimeout(() => end(false), withinMs)
        waiting.add(look)
      })
    },
  }
}
