// When a key ends, as people say it.
import { describe, expect, it } from 'vitest'
import { endOf } from './commands-keys.ts'

const nowMs = Date.UTC(2026, 5, 1, 12)
const hourMs = 3_600_000

describe('the end of a key', () => {
  it.each([
    ['12h', nowMs + 12 * hourMs],
    ['90d', nowMs + 90 * 24 * hourMs],
    ['4w', nowMs + 28 * 24 * hourMs],
    ['2026-06-01', Date.UTC(2026, 5, 1, 23, 59, 59, 999)],
    ['2027-03-31', Date.UTC(2027, 2, 31, 23, 59, 59, 999)],
  ])('%s is a span from now, or the end of a day', (text, endMs) => {
    expect(endOf(text, nowMs)).toBe(endMs)
  })

  it.each(['', '0d', '90', 'd', '1.5d', '-1d', '90m', '2026-05-31', '2026-13-01', '1-1-2027', 'tomorrow'])(
    '%s is none',
    (text) => {
      expect(() => endOf(text, nowMs)).toThrow(expect.objectContaining({ code: 'usage' }))
    },
  )
})
