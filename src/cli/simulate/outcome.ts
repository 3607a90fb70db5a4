// How a simulation ended: counts, differences, speed, and the exit code that follows.
import type { Compared } from './compare.ts'
import type { Difference } from './differences.ts'
import type { Gauge } from './gauge.ts'
import type { Shift } from './shift.ts'
import type { Stats } from './stats.ts'

interface Spread {
  readonly p50: number
  readonly p99: number
  readonly max: number
}

export interface Outcome {
  readonly runId: string
  readonly title: string
  readonly seed: number
  readonly ended: 'roll' | 'stop'
  readonly frames: number
  readonly places: number
  readonly labels: Compared['labels']
  readonly decisions: Compared['decisions']
  readonly flags: Compared['flags']
  readonly revocations: number
  readonly refusals: Readonly<Record<string, number>>
  readonly laid: Stats['laid']
  readonly stops: readonly string[]
  readonly connections: number
  readonly wrongLays: number
  readonly doubleLays: number
  readonly wrongCodes: number
  readonly missedLays: number
  readonly missedBecause: Readonly<Record<string, number>>
  readonly lostAnswers: number
  readonly doubledAnswers: number
  /** Behind the label's point of no return. */
  readonly lateAnswers: number
  readonly laidThoughRevoked: number
  readonly shift?: Shift
  /** From sending a frame to its last answer, by the clock on the wall. */
  readonly latencyMs?: Spread
  /** Travel that was left when an answer came: the hundredth that had the least had this much at most. */
  readonly marginMm?: { readonly least: number; readonly p01: number; readonly p50: number }
  readonly seconds: number
  readonly differences: readonly Difference[]
  readonly exitCode: 0 | 1
}

export interface OutcomeParts {
  readonly runId: string
  readonly title: string
  readonly seed: number
  readonly ended: 'roll' | 'stop'
  readonly frames: number
  readonly places: number
  readonly seconds: number
  readonly stats: Stats
  readonly compared: Compared
  /** Whether margins mean anything: they do not flat out. */
  readonly isTimed: boolean
}

const rounded = (value: number): number => Math.round(value * 100) / 100

const spreadOf = (gauge: Gauge): { latencyMs?: Spread } =>
  gauge.count === 0
    ? {}
    : { latencyMs: { p50: rounded(gauge.at(0.5)), p99: rounded(gauge.at(0.99)), max: rounded(gauge.max) } }

const marginOf = (gauge: Gauge): Pick<Outcome, 'marginMm'> =>
  gauge.count === 0
    ? {}
    : { marginMm: { least: rounded(gauge.min), p01: rounded(gauge.at(0.01)), p50: rounded(gauge.at(0.5)) } }

/** Exit code 1: something wrong was laid, something laid twice, an answer lost or doubled, or all codes are shifted. */
export function outcomeOf({ stats, compared, isTimed, ...named }: OutcomeParts): Outcome {
  const { differences, shift, labels, decisions, flags, revocations, missedBecause } = compared
  const { counts } = differences
  const doubledAnswers = counts['doubled-answer'] + stats.doubledAnswers
  const isBad = counts['wrong-lay'] + counts['double-lay'] + counts['lost-answer'] + doubledAnswers > 0
  return {
    ...named,
    labels,
    decisions,
    flags,
    revocations,
    refusals: stats.refusals,
    laid: stats.laid,
    stops: stats.stops,
    connections: stats.connections,
    wrongLays: counts['wrong-lay'],
    doubleLays: counts['double-lay'],
    wrongCodes: counts['wrong-code'],
    missedLays: counts['missed-lay'],
    missedBecause,
    lostAnswers: counts['lost-answer'],
    doubledAnswers,
    lateAnswers: isTimed ? stats.lateAnswers : 0,
    laidThoughRevoked: counts['laid-though-revoked'],
    ...(shift ? { shift } : {}),
    ...spreadOf(stats.latencyMs),
    ...(isTimed ? marginOf(stats.marginMm) : {}),
    differences: differences.list(),
    exitCode: isBad || shift ? 1 : 0,
  }
}
