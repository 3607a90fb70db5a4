// Pauses between attempts grow to a limit, and two lines don't share theirs.
import { expect, it } from 'vitest'
import { retryAfterMs } from './backoff.ts'

it('doubles the pause with every failure, up to five seconds, and draws the second half of it', () => {
  expect([1, 2, 3].map((failures) => retryAfterMs(failures, () => 0))).toEqual([50, 100, 200])
  expect([1, 2, 3].map((failures) => retryAfterMs(failures, () => 1))).toEqual([100, 200, 400])
  expect(retryAfterMs(1_000, () => 0)).toBe(2_500)
  expect(retryAfterMs(1_000, () => 1)).toBe(5_000)
})
