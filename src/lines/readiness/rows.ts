// What readiness says: rows with a code for programs and words for persons, and what they are worked out from.
import type { Digest } from '../../kernel/bytes.ts'
import type { BlobCondition } from '../../storage/port.ts'
import type { Frozen, FrozenJob, FrozenVersion } from '../freeze.ts'
import type { LineProfile } from '../profile.ts'
import type { Ticket } from '../ticket.ts'
import type { ReadinessExample, SequenceTally } from './tally.ts'

export const readinessCodes = [
  // jobs
  'job-not-published',
  'nothing-released',
  'version-not-released',
  'version-withdrawn',
  'version-superseded',
  'pin-unknown',
  'print-version-unstated',
  'print-version-mismatch',
  'geometry-differs',
  'substrate-not-allowed',
  // codes of the sequence
  'unknown-code',
  'other-job',
  'code-twice',
  'sequence-lost',
  'sequence-bad',
  'frames-differ',
  'sequence-gaps',
  'code-table-lost',
  // line and material
  'web-too-wide',
  'station-missing',
  'resolution-mismatch',
  'height-over-limit',
  'height-out-of-range',
  'foil-not-threaded',
  'foil-out-of-reach',
  'reel-unfit',
  'layers-not-common',
  'orientation-impossible',
  // bytes
  'missing-layer',
  'damaged-layer',
  // what an earlier pass of the roll says
  'earlier-pass-missing',
  'earlier-pass-open',
  'codes-without-serial',
  'orientation-across-passes',
  // the sums
  'nothing-expected',
  'speed-over-ceiling',
  'height-over-table',
  'foil-short',
  'roll-too-large',
  'ridge-too-high',
  'layer-unread',
] as const
export type ReadinessCode = (typeof readinessCodes)[number]

export interface ReadinessRow {
  readonly code: ReadinessCode
  /** What is wrong. */
  readonly message: string
  /** What would mend it. */
  readonly mend: string
  readonly job?: string
  readonly design?: string
  readonly print?: string
  readonly version?: number
  readonly layer?: string
  /** How many labels of the sequence are concerned; absent without a sequence. */
  readonly labels?: number
  /** The first few of them, in printed order. */
  readonly examples?: readonly ReadinessExample[]
  readonly measured?: string | number
  readonly limit?: string | number
}

export interface Rows {
  readonly blockers: readonly ReadinessRow[]
  readonly warnings: readonly ReadinessRow[]
}

/** What the sequence leads one to expect. */
export interface Expected {
  readonly positions: number
  readonly labels: number
  /** Of the labels that resolve to a version, by job, design and rising version. */
  readonly versions: readonly {
    readonly job: string
    readonly design: string
    readonly version: number
    readonly labels: number
  }[]
}

export interface Readiness extends Rows {
  readonly ready: boolean
  /** Present with a sequence that could be read. */
  readonly expected?: Expected
}

/** A version that labels would be given, and how many: counted in the sequence, where there is one. */
export interface WantedVersion {
  readonly job: FrozenJob
  readonly version: FrozenVersion
  readonly labels?: number
  readonly examples?: readonly ReadinessExample[]
  /** Cells that it stands in; absent: any. */
  readonly cells?: ReadonlySet<number>
}

export interface Inquiry {
  readonly ticket: Ticket
  readonly line: LineProfile
  readonly frozen: Frozen
  /** Looks at stored bytes; called once per layer digest. */
  readonly condition: (digest: Digest) => Promise<BlobCondition>
  /** The ticket's sequence, gone through; or what is wrong with its bytes. Absent where the ticket has none. */
  readonly sequence?: SequenceTally | Exclude<BlobCondition, 'sound'> | undefined
  /** Rows of others, such as those of an earlier pass and of the sums. */
  readonly more?: (() => Promise<Rows>) | undefined
}

/** Labels and examples of what was counted, as keys of a row; none without a sequence. */
export const countedOf = ({
  labels,
  examples,
}: {
  readonly labels?: number
  readonly examples?: readonly ReadinessExample[]
}): Pick<ReadinessRow, 'labels' | 'examples'> => ({
  ...(labels === undefined ? {} : { labels }),
  ...(examples && examples.length > 0 ? { examples } : {}),
})

/** Rows of one code; print versions come from the codes, so there may be as many rows as labels. */
const rowsOfCodeMax = 100

/** The first 100 rows of each code, and one that counts the others. */
export function bounded(rows: readonly ReadinessRow[]): readonly ReadinessRow[] {
  const seen = new Map<ReadinessCode, number>()
  const kept: ReadinessRow[] = []
  for (const row of rows) {
    const count = (seen.get(row.code) ?? 0) + 1
    seen.set(row.code, count)
    if (count <= rowsOfCodeMax) kept.push(row)
  }
  for (const [code, count] of seen) {
    if (count <= rowsOfCodeMax) continue
    const message = `${count - rowsOfCodeMax} more of this kind are not listed`
    kept.push({
      code,
      message,
      mend: 'mend those that are listed; the next look lists more',
      measured: count,
      limit: rowsOfCodeMax,
    })
  }
  return kept
}
