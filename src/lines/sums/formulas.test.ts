// Each formula with a worked example: the one in its description, and the edges.
import { describe, expect, it } from 'vitest'
import { adhesiveMl, mlPerUmMm2, varnishMl } from './fluids.ts'
import { foilM, foilM2, reelsFor } from './foil.ts'
import { travelMinutes } from './minutes.ts'
import { answeringLimit, blurLimit, ceilingOf, frameRateLimit, heightLimit, stoppingLimit } from './speed.ts'
import { rollDiameterMm, rollLengthM } from './winding.ts'

describe('fluids', () => {
  it('take 1e-6 mL for a µm over a mm²: 1 µm over 1 m² is 1 cm³', () => {
    expect(mlPerUmMm2 * 1_000_000).toBe(1)
    expect(varnishMl({ fullMm2: 1_000_000, heightUm: 1 })).toBeCloseTo(1, 12)
  })

  it('of varnish are metered wet: 500 mm² at 60 µm with 20 % shrinkage are 0.0375 mL', () => {
    expect(varnishMl({ fullMm2: 500, heightUm: 60, shrinkage: 0.2 })).toBeCloseTo(0.0375, 12)
    expect(varnishMl({ fullMm2: 500, heightUm: 60 })).toBeCloseTo(0.03, 12)
  })

  it('of adhesive are stated wet: 400 mm² of mask under 8 µm are 0.0032 mL', () => {
    expect(adhesiveMl({ maskMm2: 400, coatUm: 8 })).toBeCloseTo(0.0032, 12)
  })
})

describe('foil', () => {
  it('runs with the web, and each reel is threaded: 1,200 m and two reels at 8 m are 1,216 m, 97.28 m² at 80 mm', () => {
    expect(foilM({ webM: 1_200, threadingM: 8, reels: 2 })).toBe(1_216)
    expect(foilM2({ lengthM: 1_216, widthMm: 80 })).toBeCloseTo(97.28, 10)
  })

  it('takes as many reels as their length less threading goes into the web', () => {
    expect(reelsFor({ webM: 1_200, lengthM: 610, threadingM: 8 })).toBe(2)
    expect(reelsFor({ webM: 1_204, lengthM: 610, threadingM: 8 })).toBe(2)
    expect(reelsFor({ webM: 1_204.1, lengthM: 610, threadingM: 8 })).toBe(3)
    expect(reelsFor({ webM: 0, lengthM: 610, threadingM: 8 })).toBe(1)
    expect(reelsFor({ webM: 100, lengthM: 8, threadingM: 8 })).toBeUndefined()
  })
})

describe('a roll', () => {
  it('of 1,000 m at 0.150 mm on 76 mm with a ridge of 12 µm winds to 460.48 mm', () => {
    const bare = { lengthM: 1_000, coreOuterMm: 76, thicknessMm: 0.15 }
    expect(rollDiameterMm({ ...bare, heightUm: 12 })).toBeCloseTo(Math.sqrt(76 ** 2 + (4 * 1e6 * 0.162) / Math.PI), 9)
    expect(rollDiameterMm({ ...bare, heightUm: 12 }).toFixed(2)).toBe('460.48')
  })

  it('no larger than its core holds nothing', () => {
    expect(rollLengthM({ diameterMm: 70, coreOuterMm: 76, thicknessMm: 0.1 })).toBe(0)
    expect(rollDiameterMm({ lengthM: 0, coreOuterMm: 76, thicknessMm: 0.1 })).toBe(76)
  })
})

describe('travel', () => {
  const way = { lengthM: 1_200, mPerMin: 60 }

  it('of 1,200 m at 60 m/min takes 20 minutes, and 5 s more with ramps of 0.2 m/s²', () => {
    expect(travelMinutes({ ...way, starts: 1 })).toBe(20)
    expect(travelMinutes({ ...way, accelerationMPerS2: 0.2, starts: 1 })).toBeCloseTo(20 + 5 / 60, 10)
    expect(travelMinutes({ ...way, accelerationMPerS2: 0.2, starts: 4 })).toBeCloseTo(20 + 20 / 60, 10)
  })

  it('over a way too short to reach the speed is up half of it and down the other', () => {
    // 2 m at 0.5 m/s²: 1 m in 2 s up (to 1 m/s), 2 s down.
    expect(travelMinutes({ lengthM: 2, mPerMin: 600, accelerationMPerS2: 0.5, starts: 1 })).toBeCloseTo(4 / 60, 10)
  })
})

describe('a speed limit', () => {
  const table = [
    { heightUmMax: 60, mPerMinMax: 50 },
    { heightUmMax: 120, mPerMinMax: 30 },
  ]

  it('by height is that of the first row that reaches the peak, and none above the last', () => {
    expect([0, 60, 60.01, 80, 120, 120.5].map((um) => heightLimit(table, um))).toEqual([50, 50, 30, 30, 30, 0])
  })

  it('by frames a second is pitch × rate: 60 mm × 20 /s is 72 m/min', () => {
    expect(frameRateLimit({ pitchMm: 60, perSecondMax: 20 })).toBeCloseTo(72, 10)
  })

  it('by blur is a share of a module in the exposure: 0.5 × 0.4 mm in 100 µs is 120 m/min', () => {
    expect(blurLimit({ modulesMax: 0.5, moduleMm: 0.4, exposureUs: 100 })).toBeCloseTo(120, 10)
  })

  it('by answering is the way in the time: 1,500 mm in 60 ms is 1,500 m/min, and 0 where there is no way', () => {
    expect(answeringLimit({ distanceMm: 1_500, answerMs: 60 })).toBeCloseTo(1_500, 8)
    expect(answeringLimit({ distanceMm: -3, answerMs: 60 })).toBe(0)
  })

  it('by stopping is √(a²t² + 2as) − at: 124.92 m/min for 1,500 mm, 200 ms and 2 m/s², and uses up the way exactly', () => {
    const mPerMin = stoppingLimit({ distanceMm: 1_500, timeMs: 200, decelerationMPerS2: 2 })
    expect(mPerMin.toFixed(2)).toBe('124.92')
    const v = mPerMin / 60
    expect(v * 0.2 + v ** 2 / (2 * 2)).toBeCloseTo(1.5, 10)
    expect(stoppingLimit({ distanceMm: -1, timeMs: 200, decelerationMPerS2: 2 })).toBe(0)
  })

  it('that is the least binds, and the next says by how much', () => {
    const limit = (name: 'line' | 'nip' | 'stopping', mPerMin: number, counts = true) => ({
      limit: name,
      mPerMin,
      counts,
      from: {},
    })
    const found = ceilingOf([limit('line', 75), limit('nip', 50), limit('stopping', 20, false)])
    expect(found).toMatchObject({ mPerMin: 50, binds: 'nip', next: { limit: 'line', mPerMin: 75, times: 1.5 } })
    expect(found.limits.map((row) => row.limit)).toEqual(['stopping', 'nip', 'line'])
    expect(ceilingOf([limit('nip', 0), limit('line', 75)]).next).toEqual({ limit: 'line', mPerMin: 75 })
    expect(ceilingOf([])).toEqual({ limits: [] })
  })
})
