// The ledger writer: one a process, serving all runs that the process holds.
import type { Clock, RandomBytes } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database } from '../storage/port.ts'
import { type CommitFacts, createGroupCommit, type GroupCommit } from './group-commit.ts'
import { rebuildFrontier } from './rebuild.ts'
import { HeldLedger, type RunLedger } from './run-ledger.ts'
import { saltSource } from './salts.ts'

export interface LedgerWriter {
  /**
   * Opens a run's ledger for appending under this epoch, after checking all that is stored (O(n)). Problem `ledger-bad` naming the
   * first wrong entry; `run-held-elsewhere` while the run is open here already, unless a commit of it failed; `ledger-unavailable`
   * once the writer is closed.
   */
  open(runId: string, epoch: number): Promise<RunLedger>
  /** Resolves when everything appended so far is committed or failed. */
  drain(): Promise<void>
  /** Takes no more appends and drains. */
  close(): Promise<void>
  /** Called after each successful commit; the returned function ends that. Listeners must not throw. */
  onCommit(listener: (facts: CommitFacts) => void): () => void
}

export interface LedgerWriterParts {
  readonly database: Pick<Database, 'appendLedger' | 'readLedger' | 'ledgerHead'>
  readonly clock: Clock
  readonly random: RandomBytes
}

export function openLedgerWriter(parts: LedgerWriterParts): LedgerWriter {
  const group = createGroupCommit(parts)
  const runs = createOpenRuns(parts, group)
  return {
    open: runs.open,
    drain: group.drain,
    async close() {
      runs.shut()
      await group.drain()
    },
    onCommit: group.onCommit,
  }
}

interface OpenRuns {
  open(runId: string, epoch: number): Promise<RunLedger>
  shut(): void
}

function createOpenRuns({ database, clock, random }: LedgerWriterParts, group: GroupCommit): OpenRuns {
  const runs = new Map<string, HeldLedger | 'opening'>()
  const nextSalt = saltSource(random)
  let isShut = false

  const refuseIfShut = (): void => {
    if (isShut) throw new Problem('ledger-unavailable', 'the ledger writer is closed')
  }
  const released = (held: HeldLedger): void => {
    if (runs.get(held.runId) === held) runs.delete(held.runId)
  }
  const hold = async (runId: string, epoch: number): Promise<HeldLedger> => {
    const frontier = await rebuildFrontier(database, runId)
    refuseIfShut()
    return new HeldLedger({ runId, epoch, frontier, clock, nextSalt, wake: group.wake, released })
  }
  return {
    async open(runId, epoch) {
      refuseIfShut()
      const there = runs.get(runId)
      if (there === 'opening' || (there !== undefined && there.failed === undefined)) {
        throw new Problem('run-held-elsewhere', `the ledger of run ${runId} is already open in this process`)
      }
      runs.set(runId, 'opening')
      try {
        const held = await hold(runId, epoch)
        runs.set(runId, held)
        return held
      } catch (cause) {
        runs.delete(runId)
        throw cause
      }
    },
    shut() {
      isShut = true
      for (const held of runs.values()) if (held !== 'opening') held.shut()
    },
  }
}
