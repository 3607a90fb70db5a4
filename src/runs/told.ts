// What a run tells of its ledger: answers and revocations as they travel, and what follows each durable write.
import type { Problem } from '../kernel/problem.ts'
import type { Entry } from '../ledger/index.ts'
import type { LedgerHead } from '../storage/port.ts'
import type { RunState } from './state.ts'
import type { Answer, Revocation } from './wire.ts'

/** What follows a run is told, in order and as it happens. Must not throw. */
export interface RunListener {
  /** These entries are durable, under this head. */
  written(entries: readonly Entry[], head: LedgerHead): void
  /** A commit failed: the run takes and tells nothing more; the registry opens another one from the ledger. */
  failed(problem: Problem): void
}

/** Each in ledger order. */
export interface Told {
  readonly answers: readonly Answer[]
  readonly revocations: readonly Revocation[]
}

export interface AnswersPage extends Told {
  readonly cursor: number
  readonly state: RunState['name']
}

export type AnswerEntry = Entry & { readonly type: 'answer' }

/** The answers and revocations among durable entries. */
export function toTold(entries: readonly Entry[], runId: string, asAnswer: (entry: AnswerEntry) => Answer): Told {
  const answers: Answer[] = []
  const revocations: Revocation[] = []
  for (const entry of entries) {
    if (entry.type === 'answer') answers.push(asAnswer(entry))
    else if (entry.type === 'revocation') revocations.push({ runId, ledgerIndex: entry.index, ...entry.body })
  }
  return { answers, revocations }
}
