// Time as the client needs it: two clocks and a timer, so that tests can hold them. Runs in Node and in browsers.

export interface LineClock {
  /** Wall clock, UTC ms since 1970. Information only: no deadline hangs on it. */
  nowMs(): number
  /** Monotonic ms from an arbitrary origin; for heartbeats and silence. */
  monotonicMs(): number
  /** Calls once after so many ms. Returns what calls it off. */
  after(ms: number, call: () => void): () => void
}

export const systemLineClock: LineClock = {
  nowMs: () => Date.now(),
  monotonicMs: () => performance.now(),
  after(ms, call) {
    const timer = setTimeout(call, ms)
    return () => clearTimeout(timer)
  },
}
