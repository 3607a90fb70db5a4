// Stop causes: one stop per (flag, job, design, print version), and the counting that turns many small flags into a stop.

import type { Flag } from '../kernel/terms.ts'
import type { Entry, EntryBodies, EntryDraft } from '../ledger/index.ts'
import type { Policy } from '../lines/index.ts'
import type { Identity } from './resolve.ts'

export type CauseBody = NonNullable<EntryBodies['answer']['cause']>

export interface CauseRecord {
  readonly cause: CauseBody
  readonly status: 'open' | 'skip-rest'
  /** Ledger index of the entry that opened it. */
  readonly openedAt: number
  readonly frame?: number
  readonly cell?: number
}

const keyOf = (cause: CauseBody): string => [cause.flag, cause.job, cause.design, cause.print].join('\n')

/**
 * The cause that a label's flag belongs to. A recall concerns a design whatever print version carries it, so `withdrawn` names none:
 * the recall's own stop and its labels are one cause.
 */
export function causeOf(flag: Flag, identity: Identity | undefined): CauseBody {
  if (!identity) return { flag }
  const { job, design, print } = identity
  return { flag, job, design, ...(print !== undefined && flag !== 'withdrawn' ? { print } : {}) }
}

/** The step into `stopped` that follows an answer which asks for a stop. */
export function stopStep(body: EntryBodies['answer']): EntryDraft {
  const { cause, frame, cell, flags } = body
  return {
    type: 'step',
    body: {
      to: 'stopped',
      by: 'rollcall',
      why: `label flagged ${flags.join(', ')}`,
      frame,
      cell,
      ...(cause ? { cause } : {}),
    },
  }
}

/** The step that asks for proving again behind a frame at which the mark count slipped. */
export const slipStep = ({ frame }: { readonly frame: number }): EntryDraft => ({
  type: 'step',
  body: {
    to: 'proving',
    by: 'rollcall',
    why: `the mark count slipped at frame ${frame}`,
    again: 'slipped-count',
    frame,
  },
})

export class Causes {
  private readonly records = new Map<string, CauseRecord>()

  open(cause: CauseBody, at: { index: number; frame?: number; cell?: number }): void {
    const where = {
      ...(at.frame !== undefined ? { frame: at.frame } : {}),
      ...(at.cell !== undefined ? { cell: at.cell } : {}),
    }
    this.records.set(keyOf(cause), { cause, status: 'open', openedAt: at.index, ...where })
  }

  /** Takes up what an entry says of causes. Returns whether it says anything. */
  take(entry: Entry): boolean {
    const { index } = entry
    if (entry.type === 'answer' && entry.body.cause) {
      const { cause, frame, cell } = entry.body
      this.open(cause, { index, frame, cell })
      return true
    }
    if (entry.type !== 'step' || !entry.body.cause) return false
    const { cause, after } = entry.body
    if (after) this.clear(cause, after)
    // A step into `stopped` behind an answer repeats the cause that the answer opened.
    else if (this.status(cause) === undefined) this.open(cause, { index })
    return true
  }

  copy(): Causes {
    const copy = new Causes()
    for (const [key, record] of this.records) copy.records.set(key, record)
    return copy
  }

  clear(cause: CauseBody, after: 'resume' | 'skip-rest'): void {
    const record = this.records.get(keyOf(cause))
    if (after === 'resume') this.records.delete(keyOf(cause))
    else if (record) this.records.set(keyOf(cause), { ...record, status: 'skip-rest' })
  }

  status(cause: CauseBody): CauseRecord['status'] | undefined {
    return this.records.get(keyOf(cause))?.status
  }

  opened(): readonly CauseRecord[] {
    return [...this.records.values()].filter((record) => record.status === 'open')
  }

  /** Open ones and those whose rest is skipped. */
  all(): readonly CauseRecord[] {
    return [...this.records.values()]
  }
}

/** Counts flagged labels among the last `within` labels of a run, set-up labels left out. At most `count` numbers a flag are kept. */
export class StopWindows {
  private labels = 0
  private readonly policy: Policy
  private readonly flagged = new Map<Flag, number[]>()

  constructor(policy: Policy) {
    this.policy = policy
  }

  /** Whether one more label with this flag would reach the flag's `stopAfter`. */
  wouldStop(flag: Flag): boolean {
    const limit = this.policy[flag].stopAfter
    if (!limit) return false
    // The label in question is the last of the `within`.
    const before = this.labels + 1 - limit.within
    const recent = (this.flagged.get(flag) ?? []).filter((label) => label > before)
    return recent.length + 1 >= limit.count
  }

  add(flags: readonly Flag[]): void {
    this.labels++
    for (const flag of flags) {
      const limit = this.policy[flag].stopAfter
      if (!limit) continue
      const kept = this.flagged.get(flag) ?? []
      kept.push(this.labels)
      if (kept.length > limit.count) kept.shift()
      this.flagged.set(flag, kept)
    }
  }

  reset(flag: Flag): void {
    this.flagged.delete(flag)
  }
}
