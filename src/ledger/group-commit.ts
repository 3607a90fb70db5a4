// The group commit: what all runs append while one commit is under way goes into the next together, so that a sync to disk is
// shared by as many answers as are waiting.
import { setImmediate as nextTurn } from 'node:timers/promises'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database } from '../storage/port.ts'
import type { HeldLedger, PendingCommit } from './run-ledger.ts'

/** One successful group commit, for metrics. */
export interface CommitFacts {
  readonly entries: number
  /** Runs that took part. */
  readonly batches: number
  readonly ms: number
}

export interface GroupCommit {
  /** The ledger has something to commit. */
  wake(ledger: HeldLedger): void
  /** Resolves when everything appended so far, and whatever joined it, is committed or failed. */
  drain(): Promise<void>
  /** Called after each successful commit; the returned function ends that. */
  onCommit(listener: (facts: CommitFacts) => void): () => void
}

export interface GroupCommitParts {
  readonly database: Pick<Database, 'appendLedger'>
  readonly clock: Clock
}

export function createGroupCommit({ database, clock }: GroupCommitParts): GroupCommit {
  const dirty = new Set<HeldLedger>()
  const listeners = new Set<(facts: CommitFacts) => void>()
  let working: Promise<void> | undefined

  const commit = async (commits: readonly PendingCommit[]): Promise<void> => {
    const startMs = clock.monotonicMs()
    try {
      await database.appendLedger(commits.map(({ batch }) => batch))
    } catch (cause) {
      return refused(commits, toProblem(cause))
    }
    const ms = clock.monotonicMs() - startMs
    const entries = commits.reduce((sum, { batch }) => sum + batch.entries.length, 0)
    for (const { committed } of commits) committed()
    for (const listener of listeners) listener({ entries, batches: commits.length, ms })
  }
  const refused = async (commits: readonly PendingCommit[], problem: Problem): Promise<void> => {
    // A run that this process lost must not take the others down: nothing was written, so each may try alone.
    const severable = problem.code === 'run-held-elsewhere' && commits.length > 1
    if (severable) for (const alone of commits) await commit([alone])
    else for (const { failed } of commits) failed(problem)
  }
  const work = async (): Promise<void> => {
    while (dirty.size > 0) {
      // Whatever else arrives in this turn of the event loop shares the commit.
      await nextTurn()
      const commits = [...dirty].flatMap((ledger) => ledger.take() ?? [])
      dirty.clear()
      if (commits.length > 0) await commit(commits)
    }
    working = undefined
  }
  return {
    wake(ledger) {
      dirty.add(ledger)
      working ??= work()
    },
    async drain() {
      while (working !== undefined) await working
    },
    onCommit(listener) {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
  }
}

function toProblem(cause: unknown): Problem {
  if (cause instanceof Problem) return cause
  return new Problem('ledger-unavailable', cause instanceof Error ? cause.message : String(cause))
}
