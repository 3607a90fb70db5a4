// The web's travel: ramps, stops after v·t + v²/2a, back-ups.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { openMotion } from './motion.ts'

const ramps = { accelerationMPerS2: 0.25, decelerationMPerS2: 0.8 }

describe('the web', () => {
  it('stands until it is run', () => {
    const motion = openMotion(1_000, ramps)
    expect(motion.at(5_000)).toEqual({ positionMm: 1_000, mPerMin: 0 })
    expect(motion.timeOf(1_001, 0)).toBeUndefined()
    expect(motion.timeOf(1_000, 70)).toBe(70)
  })

  it('ramps to its speed over v²/2a and then holds it', () => {
    const motion = openMotion(0, ramps)
    motion.run(0, 60)
    // 1 m/s at 0.25 m/s² takes 4 s and 2 m.
    expect(motion.at(4_000).positionMm).toBeCloseTo(2_000, 6)
    expect(motion.at(4_000).mPerMin).toBeCloseTo(60, 6)
    expect(motion.at(5_000).positionMm).toBeCloseTo(3_000, 6)
    expect(motion.timeOf(3_000, 0)).toBeCloseTo(5_000, 6)
    expect(motion.standsMs()).toBeUndefined()
  })

  it('stands v·t + v²/2a behind where a stop was asked for', () => {
    const motion = openMotion(0, ramps)
    motion.run(0, 60)
    motion.brake(10_000, 250)
    const asked = motion.at(10_000).positionMm
    const standsMs = motion.standsMs() ?? Number.NaN
    // 1 m/s for 250 ms, and 1 m²/s² over 1.6 m/s².
    expect(motion.at(standsMs).positionMm - asked).toBeCloseTo(250 + 625, 6)
    expect(standsMs).toBeCloseTo(10_000 + 250 + 1_250, 6)
    expect(motion.timeOf(asked + 876, standsMs)).toBeUndefined()
  })

  it('goes on ramping during the reaction, but not beyond its speed', () => {
    const motion = openMotion(0, ramps)
    motion.run(0, 60)
    motion.brake(3_900, 1_000)
    expect(motion.at(4_900).mPerMin).toBeCloseTo(60, 6)
  })

  it('is backed up by what was asked, and runs over the same positions again', () => {
    for (const mm of [5, 700, 20_000]) {
      const motion = openMotion(30_000, ramps)
      motion.backUp(0, mm)
      const standsMs = motion.standsMs() ?? Number.NaN
      expect(motion.at(standsMs).positionMm).toBeCloseTo(30_000 - mm, 6)
      motion.run(standsMs, 30)
      const again = motion.timeOf(30_000, standsMs) ?? Number.NaN
      expect(motion.at(again).positionMm).toBeCloseTo(30_000, 5)
    }
  })

  it('is at a position at the time that is said for it, whatever it was asked before', () => {
    fc.assert(
      fc.property(
        fc.array(
          fc.record({ afterMs: fc.integer({ min: 1, max: 20_000 }), mPerMin: fc.integer({ min: 1, max: 200 }) }),
          {
            minLength: 1,
            maxLength: 6,
          },
        ),
        fc.integer({ min: 1, max: 5_000 }),
        (speeds, aheadMm) => {
          const motion = openMotion(0, ramps)
          let ms = 0
          for (const { afterMs, mPerMin } of speeds) {
            motion.run(ms, mPerMin)
            ms += afterMs
          }
          const target = motion.at(ms).positionMm + aheadMm
          const reachedMs = motion.timeOf(target, ms) ?? Number.NaN
          expect(reachedMs).toBeGreaterThan(ms)
          expect(motion.at(reachedMs).positionMm).toBeCloseTo(target, 5)
        },
      ),
    )
  })
})
