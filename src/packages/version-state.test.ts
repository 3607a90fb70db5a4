// States of versions from their times and neighbours.
import { describe, expect, it } from 'vitest'
import { versionState } from './version-state.ts'

const version = (number: number, prints: string, times: { released?: number; withdrawn?: number } = {}) => ({
  version: number,
  printVersions: prints.split(' '),
  releasedAtMs: times.released ?? null,
  withdrawnAtMs: times.withdrawn ?? null,
})

describe('a version is', () => {
  it('checked until it is released', () => {
    expect(versionState([version(1, '01')])(1)).toBe('checked')
  })

  it('superseded once higher released versions fit all of its print versions, together or alone', () => {
    const states = versionState([
      version(1, '01 02', { released: 1 }),
      version(2, '01', { released: 2 }),
      version(3, '02 03', { released: 3 }),
    ])
    expect([1, 2, 3].map(states)).toEqual(['superseded', 'released', 'released'])
  })

  it('not superseded by lower, unreleased or partly fitting versions', () => {
    const states = versionState([
      version(1, '01 02', { released: 1 }),
      version(2, '02', { released: 9 }),
      version(3, '01 02'),
    ])
    expect([1, 2, 3].map(states)).toEqual(['released', 'released', 'checked'])
  })

  it('superseded even by one that was withdrawn since, for that one decides (and stops)', () => {
    const states = versionState([version(1, '01', { released: 1 }), version(2, '01', { released: 2, withdrawn: 3 })])
    expect([1, 2].map(states)).toEqual(['superseded', 'withdrawn'])
  })

  it('withdrawn whatever it was before', () => {
    expect(versionState([version(1, '01', { withdrawn: 3 })])(1)).toBe('withdrawn')
  })
})
