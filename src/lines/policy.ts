// What each flag leads to (DESIGN §5), and how a line makes it stricter.
import type { Finding } from '../kernel/problem.ts'
import { type Decision, decisions, type Flag, flags } from '../kernel/terms.ts'
import type { LineProfile } from './profile.ts'

export interface StopAfter {
  /** Ask for a stop when this many … */
  readonly count: number
  /** … of the last this many labels carry the flag. */
  readonly within: number
}

export interface FlagPolicy {
  readonly decision: Decision
  readonly stopAfter?: StopAfter
}

export type Policy = Readonly<Record<Flag, FlagPolicy>>

const after = (count: number, within: number): StopAfter => ({ count, within })

export const defaultPolicy: Policy = Object.freeze({
  'no-read': { decision: 'skip', stopAfter: after(10, 50) },
  inferred: { decision: 'lay' },
  'unknown-code': { decision: 'skip', stopAfter: after(3, 20) },
  'other-job': { decision: 'stop' },
  'print-version-mismatch': { decision: 'stop' },
  superseded: { decision: 'lay' },
  withdrawn: { decision: 'stop' },
  'not-released': { decision: 'stop' },
  'missing-layer': { decision: 'stop' },
  'damaged-layer': { decision: 'stop' },
  'no-foil': { decision: 'stop' },
  jumped: { decision: 'lay' },
  'out-of-sequence': { decision: 'skip', stopAfter: after(2, 20) },
  duplicate: { decision: 'skip', stopAfter: after(5, 50) },
  'already-laid': { decision: 'skip' },
  'pass-mismatch': { decision: 'skip', stopAfter: after(5, 50) },
  'low-quality': { decision: 'lay' },
  late: { decision: 'skip', stopAfter: after(3, 20) },
})

const strictness = (decision: Decision): number => decisions.indexOf(decision)

/** The strictest of some decisions; `lay` for none. */
export function strictest(all: readonly Decision[]): Decision {
  return all.reduce<Decision>((worst, next) => (strictness(next) > strictness(worst) ? next : worst), 'lay')
}

/** The defaults with a line's own rows laid over them. */
export function policyOf(line: LineProfile): Policy {
  const rows = flags.map((flag): [Flag, FlagPolicy] => {
    const base = defaultPolicy[flag]
    const own = line.policy?.[flag]
    const stopAfter = own?.stopAfter ?? base.stopAfter
    return [flag, { decision: own?.decision ?? base.decision, ...(stopAfter ? { stopAfter } : {}) }]
  })
  return Object.freeze(Object.fromEntries(rows) as Record<Flag, FlagPolicy>)
}

/** Rows of a line's policy that are laxer than the defaults: findings with code `line-schema`, one a row. */
export function policyFindings(line: { readonly policy?: LineProfile['policy'] }): readonly Finding[] {
  return flags.flatMap((flag): Finding[] => {
    const own = line.policy?.[flag]
    const base = defaultPolicy[flag]
    const found: Finding[] = []
    if (own?.decision && strictness(own.decision) < strictness(base.decision)) {
      found.push({
        code: 'line-schema',
        message: `the policy of ${flag} may only be stricter than the default`,
        pointer: `/policy/${flag}/decision`,
        measured: own.decision,
        limit: base.decision,
      })
    }
    if (own?.stopAfter && base.stopAfter && isLaxer(own.stopAfter, base.stopAfter)) {
      found.push({
        code: 'line-schema',
        message: `the line may ask for a stop after ${flag} earlier than the default, not later`,
        pointer: `/policy/${flag}/stopAfter`,
        measured: `${own.stopAfter.count} in ${own.stopAfter.within}`,
        limit: `${base.stopAfter.count} in ${base.stopAfter.within}`,
      })
    }
    return found
  })
}

// A row is never laxer when it needs no more flagged labels and looks at no fewer.
const isLaxer = (own: StopAfter, base: StopAfter): boolean => own.count > base.count || own.within < base.within
