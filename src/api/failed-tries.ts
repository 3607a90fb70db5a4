// How often an address has shown a bad key lately; a store for express-rate-limit whose time is an argument and whose memory has a bound.
import { type RateLimitRequestHandler, rateLimit, type Store } from 'express-rate-limit'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'

const windowMs = 60_000
const triesMax = 10
const addressesMax = 10_000

interface Tries {
  hits: number
  readonly endsAtMs: number
}

/** Counts in windows that begin with an address's first try. The address longest known goes first where there are too many. */
export function openTries(clock: Pick<Clock, 'nowMs'>, bounds = { windowMs, addressesMax }): Store {
  const byAddress = new Map<string, Tries>()
  return {
    localKeys: true,
    increment(address) {
      const known = byAddress.get(address)
      const isOver = known !== undefined && known.endsAtMs <= clock.nowMs()
      const tries = known && !isOver ? known : { hits: 0, endsAtMs: clock.nowMs() + bounds.windowMs }
      tries.hits++
      if (tries !== known) {
        byAddress.delete(address)
        const [oldest] = byAddress.keys()
        if (oldest !== undefined && byAddress.size >= bounds.addressesMax) byAddress.delete(oldest)
        byAddress.set(address, tries)
      }
      return { totalHits: tries.hits, resetTime: new Date(tries.endsAtMs) }
    },
    decrement(address) {
      const known = byAddress.get(address)
      if (known) known.hits--
    },
    resetKey: (address) => void byAddress.delete(address),
  }
}

/**
 * Counts a bad key: ten a minute and address pass, the next ones are refused with `too-many-tries` and Retry-After. Sound keys are
 * never counted nor held up, for otherwise anybody behind a line's address could stop it; no rate makes 160 random bits findable.
 */
export const failedTries = (clock: Pick<Clock, 'nowMs'>): RateLimitRequestHandler =>
  rateLimit({
    windowMs,
    limit: triesMax,
    store: openTries(clock),
    legacyHeaders: false,
    standardHeaders: false,
    // A proxy's word for the address is not taken: behind one, all of its callers count together.
    validate: { xForwardedForHeader: false, forwardedHeader: false },
    handler(request, response, next) {
      const { resetTime } = (request as unknown as { rateLimit: { resetTime: Date } }).rateLimit
      const waitS = Math.max(1, Math.ceil((resetTime.getTime() - clock.nowMs()) / 1_000))
      response.setHeader('retry-after', waitS)
      const detail = `more than ${triesMax} bad keys within a minute; try again in ${waitS} s`
      next(new Problem('too-many-tries', detail, { measured: triesMax + 1, limit: triesMax }))
    },
  })
