// How much later than it came something may be stamped, because this process was busy: what waits in sockets while the event loop is held
// up all comes at once afterwards, and would seem to have come then.
import type { Clock } from '../kernel/clock.ts'

const tickMs = 5

export interface StampError {
  /** Of what is stamped now, ms. */
  nowMs(): number
  close(): void
}

/** Watches the event loop with a timer of a few ms. */
export function watchStamps(clock: Pick<Clock, 'monotonicMs'>): StampError {
  let lastMs = clock.monotonicMs()
  let gapMs = 0
  const timer = setInterval(() => {
    const atMs = clock.monotonicMs()
    gapMs = atMs - lastMs
    lastMs = atMs
  }, tickMs)
  timer.unref()
  return {
    // The timer rings before what waited is taken: its own gap counts until the next ring.
    nowMs: () => Math.max(0, Math.max(gapMs, clock.monotonicMs() - lastMs) - tickMs),
    close: () => clearInterval(timer),
  }
}
