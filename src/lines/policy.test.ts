// What a flag leads to by default, and how far a line may change it.
import { describe, expect, it } from 'vitest'
import { line } from '../../tests/fixtures/runs.ts'
import { flags } from '../kernel/terms.ts'
import { defaultPolicy, policyFindings, policyOf, strictest } from './policy.ts'
import type { LineProfile } from './profile.ts'

const withPolicy = (policy: NonNullable<LineProfile['policy']>): LineProfile => ({ ...line, policy })
const pointers = (policy: NonNullable<LineProfile['policy']>) =>
  policyFindings(withPolicy(policy)).map(({ pointer, measured, limit }) => [pointer, measured, limit])

describe('the default policy', () => {
  // The table of flags, row by row.
  it.each([
    ['no-read', 'skip', '10 in 50'],
    ['inferred', 'lay', '–'],
    ['unknown-code', 'skip', '3 in 20'],
    ['other-job', 'stop', '–'],
    ['print-version-mismatch', 'stop', '–'],
    ['superseded', 'lay', '–'],
    ['withdrawn', 'stop', '–'],
    ['not-released', 'stop', '–'],
    ['missing-layer', 'stop', '–'],
    ['damaged-layer', 'stop', '–'],
    ['no-foil', 'stop', '–'],
    ['jumped', 'lay', '–'],
    ['out-of-sequence', 'skip', '2 in 20'],
    ['duplicate', 'skip', '5 in 50'],
    ['already-laid', 'skip', '–'],
    ['pass-mismatch', 'skip', '5 in 50'],
    ['low-quality', 'lay', '–'],
    ['late', 'skip', '3 in 20'],
  ] as const)('answers %s with %s and stops after %s', (flag, decision, stopAfter) => {
    const row = defaultPolicy[flag]
    expect(row.decision).toBe(decision)
    expect(row.stopAfter ? `${row.stopAfter.count} in ${row.stopAfter.within}` : '–').toBe(stopAfter)
  })

  it('has a row for every flag', () => {
    expect(Object.keys(defaultPolicy).toSorted()).toEqual([...flags].toSorted())
  })
})

describe('the strictest decision', () => {
  it('is stop before skip before lay, and lay where nothing is flagged', () => {
    expect(strictest([])).toBe('lay')
    expect(strictest(['lay', 'skip'])).toBe('skip')
    expect(strictest(['skip', 'stop', 'lay'])).toBe('stop')
  })
})

describe('the policy of a line', () => {
  it('lays its own rows over the defaults and keeps the rest', () => {
    const policy = policyOf(withPolicy({ 'low-quality': { decision: 'skip', stopAfter: { count: 2, within: 10 } } }))
    expect(policy['low-quality']).toEqual({ decision: 'skip', stopAfter: { count: 2, within: 10 } })
    expect(policy['no-read']).toEqual(defaultPolicy['no-read'])
  })

  it('keeps the default half of a row that states the other half', () => {
    const policy = policyOf(
      withPolicy({ 'no-read': { decision: 'stop' }, late: { stopAfter: { count: 1, within: 20 } } }),
    )
    expect(policy['no-read']).toEqual({ decision: 'stop', stopAfter: { count: 10, within: 50 } })
    expect(policy.late).toEqual({ decision: 'skip', stopAfter: { count: 1, within: 20 } })
  })

  it('may be stricter: another decision, fewer labels, a longer look', () => {
    expect(
      pointers({
        jumped: { decision: 'skip' },
        'no-read': { decision: 'stop', stopAfter: { count: 9, within: 60 } },
        inferred: { stopAfter: { count: 50, within: 60 } },
      }),
    ).toEqual([])
  })

  it('may not be laxer in a decision, in the count or in the look back', () => {
    expect(
      pointers({
        withdrawn: { decision: 'skip' },
        'no-read': { decision: 'lay', stopAfter: { count: 11, within: 50 } },
        late: { stopAfter: { count: 3, within: 19 } },
      }),
    ).toEqual([
      ['/policy/no-read/decision', 'lay', 'skip'],
      ['/policy/no-read/stopAfter', '11 in 50', '10 in 50'],
      ['/policy/withdrawn/decision', 'skip', 'stop'],
      ['/policy/late/stopAfter', '3 in 19', '3 in 20'],
    ])
  })
})
