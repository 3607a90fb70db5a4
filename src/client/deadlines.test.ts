// What is due by distance comes out in order, however it went in.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Deadlines } from './deadlines.ts'

describe('deadlines', () => {
  it('come out soonest first, each once, up to and with the position reached', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 50 })), fc.integer({ min: 0, max: 50 }), (at, mm) => {
        const deadlines = new Deadlines<number>()
        for (const one of at) deadlines.add(one, one)
        const sorted = at.toSorted((a, b) => a - b)
        expect(deadlines.takeUpTo(mm)).toEqual(sorted.filter((one) => one <= mm))
        expect(deadlines.takeUpTo(mm)).toEqual([])
        expect(deadlines.takeAll()).toEqual(sorted.filter((one) => one > mm))
      }),
    )
  })
})
