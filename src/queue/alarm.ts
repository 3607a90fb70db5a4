// One timer that rings at the earliest of the times it was set to.
import type { Clock } from '../kernel/clock.ts'

/** Calls `ring` once after a while; returns what calls it off. */
export type StartTimer = (ring: () => void, afterMs: number) => () => void

export const systemTimer: StartTimer = (ring, afterMs) => {
  const timer = setTimeout(ring, afterMs)
  return () => clearTimeout(timer)
}

// Rings early rather than late when the wall clock is set forward meanwhile.
const afterMsMax = 60_000

export interface Alarm {
  /** Rings at `atMs` of the wall clock or, where that is far off, earlier. */
  set(atMs: number): void
  clear(): void
}

export function createAlarm({
  clock,
  startTimer,
  ring,
}: {
  clock: Clock
  startTimer: StartTimer
  ring: () => void
}): Alarm {
  let next: { readonly atMs: number; readonly callOff: () => void } | undefined
  const clear = () => {
    next?.callOff()
    next = undefined
  }
  return {
    set(atMs) {
      if (next !== undefined && next.atMs <= atMs) return
      clear()
      const afterMs = Math.min(Math.max(atMs - clock.nowMs(), 0), afterMsMax)
      const callOff = startTimer(() => {
        next = undefined
        ring()
      }, afterMs)
      next = { atMs, callOff }
    },
    clear,
  }
}
