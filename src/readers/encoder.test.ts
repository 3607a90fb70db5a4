// Where the web was when, and how sure that is.
import { describe, expect, it } from 'vitest'
import { Encoder } from './encoder.ts'

// Samples as [ms, mm]; all stamped in time.
const encoderOf = (...samples: readonly (readonly [number, number])[]): Encoder => {
  const encoder = new Encoder()
  for (const [atMs, mm] of samples) encoder.note({ atMs, positionUm: mm * 1000, withinMs: 0 })
  return encoder
}
const at = (encoder: Encoder, atMs: number, withinMs = 0) => encoder.at({ atMs, withinMs })

describe('the encoder', () => {
  it('lies between two positions in proportion to time, within millimetres on a steady web', () => {
    const found = at(encoderOf([0, 0], [40, 60], [80, 120], [120, 180]), 100)
    expect(found).toMatchObject({ positionUm: 150_000, settled: true })
    expect(found!.errorUm).toBeLessThan(5_000)
  })

  it('goes on a little behind the last position, less and less sure, and says nothing after a tenth of a second', () => {
    const encoder = encoderOf([0, 0], [40, 60], [80, 120])
    expect(at(encoder, 90)).toMatchObject({ positionUm: 135_000, settled: false })
    expect(at(encoder, 90)!.errorUm).toBeLessThan(at(encoder, 120)!.errorUm)
    expect(at(encoder, 181)).toBeUndefined()
  })

  it('says nothing from one position alone, and nothing certain before the first', () => {
    expect(at(encoderOf([50, 0]), 60)).toBeUndefined()
    expect(at(encoderOf([50, 0], [90, 60]), 40)).toMatchObject({ errorUm: Number.POSITIVE_INFINITY })
  })

  it('is unsure where the web stood in between: it may have been anywhere on the way', () => {
    const stopped = encoderOf([0, 0], [40, 60], [80, 120], [10_080, 180], [10_120, 240])
    expect(at(stopped, 5_000)!.errorUm).toBeGreaterThan(30_000)
    expect(at(stopped, 5_000)!.errorUm).toBeLessThanOrEqual(60_000 + 1_000)
  })

  it('is as sure as the stamps are: what may be late by so many ms lies off by what the web went in them', () => {
    const steady = encoderOf([0, 0], [40, 60], [80, 120], [120, 180])
    const difference = at(steady, 100, 20)!.errorUm - at(steady, 100)!.errorUm
    expect(difference).toBeCloseTo(20 * 1_500, 0)
  })

  it('is useless where positions came all at once, as after this process was held up', () => {
    expect(at(encoderOf([0, 0], [40, 60], [200, 300], [200.1, 360]), 200.05)!.errorUm).toBeGreaterThan(60_000)
  })

  it('knows nothing of what was before another origin', () => {
    const encoder = encoderOf([0, 0], [40, 60])
    encoder.restart()
    expect(encoder.newestUm).toBeUndefined()
    expect(at(encoder, 41)).toBeUndefined()
  })
})
