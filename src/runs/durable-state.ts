// State and open causes of a run as they are durable, which is what may be told: the run's own state is ahead by what is being committed.
import type { Entry } from '../ledger/index.ts'
import type { CauseRecord } from './causes.ts'
import type { RunState, RunStateName } from './state.ts'

export interface ShownState {
  readonly name: RunStateName
  readonly causes: readonly CauseRecord[]
  /** Who took the last step. */
  readonly by?: string
  /** Another one whenever the state or its causes change. */
  readonly revision: number
}

export interface DurableState {
  /** Takes up the next durable entry. */
  take(entry: Entry): void
  shown(): ShownState
}

/** `state` holds durable entries only, as when a run was just opened. */
export function openDurableState(state: RunState): DurableState {
  const causes = state.causes.copy()
  let { name } = state
  let by: string | undefined
  let revision = 0
  return {
    take(entry) {
      const changesCauses = causes.take(entry)
      if (entry.type === 'step') {
        name = entry.body.to
        by = entry.body.by
      }
      if (changesCauses || entry.type === 'step') revision++
    },
    shown: () => ({ name, causes: causes.opened(), revision, ...(by === undefined ? {} : { by }) }),
  }
}
