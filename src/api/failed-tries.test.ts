// Counting of bad keys by address: windows end by the clock, and memory has a bound.
import { describe, expect, it } from 'vitest'
import { openTries } from './failed-tries.ts'

const bounds = { windowMs: 1_000, addressesMax: 3 }

describe('tries of an address', () => {
  it('are counted until their window has ended, which began with the first', async () => {
    let nowMs = 5_000
    const tries = openTries({ nowMs: () => nowMs }, bounds)
    const hit = async () => (await tries.increment('a')).totalHits
    expect([await hit(), await hit()]).toEqual([1, 2])
    nowMs = 5_999
    expect(await tries.increment('a')).toEqual({ totalHits: 3, resetTime: new Date(6_000) })
    nowMs = 6_000
    expect(await hit()).toBe(1)
    await tries.decrement('a')
    expect(await hit()).toBe(1)
    await tries.resetKey('a')
    expect(await hit()).toBe(1)
  })

  it('take no more memory than so many addresses: the one known longest is forgotten first', async () => {
    const tries = openTries({ nowMs: () => 0 }, bounds)
    for (const address of ['a', 'b', 'c', 'a', 'd']) await tries.increment(address)
    const hits = async (address: string) => (await tries.increment(address)).totalHits
    expect([await hits('b'), await hits('c'), await hits('d')]).toEqual([2, 2, 2])
    expect(await hits('a')).toBe(1)
    expect(await hits('b')).toBe(1)
  })
})
