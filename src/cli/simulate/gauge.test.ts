// Spread in buckets against the numbers themselves.
import fc from 'fast-check'
import { expect, it } from 'vitest'
import { chance } from './chance.ts'
import { openGauge } from './gauge.ts'

it('gives each share to the width of a bucket', () => {
  fc.assert(
    fc.property(fc.array(fc.double({ min: -50, max: 150, noNaN: true }), { minLength: 1 }), (values) => {
      const gauge = openGauge({ from: 0, width: 1, count: 100 })
      for (const value of values) gauge.add(value)
      const sorted = values.toSorted((a, b) => a - b)
      expect([gauge.count, gauge.min, gauge.max]).toEqual([values.length, sorted[0], sorted.at(-1)])
      for (const share of [0.01, 0.5, 0.99]) {
        const exact = sorted[Math.ceil(share * sorted.length) - 1] ?? Number.NaN
        if (exact >= 0 && exact < 100) expect(Math.abs(gauge.at(share) - exact)).toBeLessThanOrEqual(1)
      }
    }),
  )
})

it('knows nothing of nothing', () => {
  expect(openGauge({ from: 0, width: 1, count: 10 }).at(0.5)).toBeNaN()
})

it('draws by seed and place, evenly, in whatever order it is asked', () => {
  const drawn = Array.from({ length: 20_000 }, (_, place) => chance(7, 3, place))
  expect(chance(7, 3, 11_111)).toBe(drawn[11_111])
  expect(chance(8, 3, 11_111)).not.toBe(drawn[11_111])
  const tenths = Array.from({ length: 10 }, (_, tenth) => drawn.filter((one) => Math.floor(one * 10) === tenth).length)
  // 2,000 each; the standard deviation is 42.
  for (const count of tenths) expect(Math.abs(count - 2_000)).toBeLessThan(250)
})
