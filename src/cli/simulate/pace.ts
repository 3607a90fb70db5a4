// How the line's time passes: so many times as fast as the clock on the wall, or as fast as everything else goes.
import { setTimeout as pause } from 'node:timers/promises'

export interface Pace {
  readonly kind: 'timed' | 'flat-out'
  /** Resolves when the line's time has come. */
  reach(lineMs: number): Promise<void>
  /** The line's time by the wall; undefined flat out. */
  nowMs(): number | undefined
  /** How often the encoder is told and requests are looked at between two marks, ms of line time. */
  readonly tickMs: number
}

/** Line time runs `speed` times as fast as the wall's, from now on. */
export function timedPace(speed: number): Pace {
  const startMs = performance.now()
  const nowMs = (): number => (performance.now() - startMs) * speed
  return {
    kind: 'timed',
    nowMs,
    tickMs: 10 * Math.max(1, speed),
    async reach(lineMs) {
      const leftMs = (lineMs - nowMs()) / speed
      if (leftMs > 0) await pause(leftMs)
    },
  }
}

export const flatOut: Pace = {
  kind: 'flat-out',
  reach: () => Promise.resolve(),
  nowMs: () => undefined,
  tickMs: Number.POSITIVE_INFINITY,
}
