// A round notices whatever must not happen, and can be repeated.
import fc from 'fast-check'
import { describe, expect, it, vi } from 'vitest'
import { list, sayings } from './fixtures/misbehaving.ts'
import { runRound } from './round.ts'
import { targets } from './targets.ts'

vi.setConfig({ maxConcurrency: 2 })

describe.concurrent('a round', () => {
  it.each(list)('notices a case that $name', async (target) => {
    const { failure, cases } = await runRound(target, { seed: 1, cases: 5 })
    expect(cases).toBe(3)
    expect(failure?.error).toMatch(sayings[target.name as keyof typeof sayings])
    expect(failure).toMatchObject({ seed: 1, path: '2', counterexample: '"once"' })
  })

  it('is repeated by its seed', async () => {
    const target = targets.find(({ name }) => name === 'templates')!
    const rounds = [await runRound(target, { seed: 7, cases: 50 }), await runRound(target, { seed: 7, cases: 50 })]
    expect(rounds[0]?.answers).toEqual(rounds[1]?.answers)
    expect(rounds[0]?.failure).toBeUndefined()
  })
})

describe('a target', () => {
  it.each(targets)('$name makes up the same cases from the same seed', ({ arbitrary }) => {
    const [one, two] = [fc.sample(arbitrary, { seed: 3, numRuns: 20 }), fc.sample(arbitrary, { seed: 3, numRuns: 20 })]
    expect(fc.stringify(one)).toBe(fc.stringify(two))
  })

  it('has a name of its own', () => {
    expect(new Set(targets.map(({ name }) => name)).size).toBe(targets.length)
  })
})
