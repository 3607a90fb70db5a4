// Time and randomness are arguments, so that tests can hold and replay them.
import { randomBytes } from 'node:crypto'

export interface Clock {
  /** Wall clock, UTC ms since 1970. Information only: no deadline hangs on it. */
  nowMs(): number
  /** Monotonic ms from an arbitrary origin; for timeouts and measuring. */
  monotonicMs(): number
}

export const systemClock: Clock = {
  nowMs: () => Date.now(),
  monotonicMs: () => performance.now(),
}

/** Returns `count` unpredictable bytes. */
export type RandomBytes = (count: number) => Uint8Array

export const systemRandom: RandomBytes = (count) => randomBytes(count)
