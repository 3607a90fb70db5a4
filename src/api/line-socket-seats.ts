// One controller a run: who has the seat, and who may take it over.
import { Problem } from '../kernel/problem.ts'

export interface Seated {
  readonly controller: string
  /** Not heard of for longer than it said it would be. */
  isSilent(): boolean
  /** Closes its connection; the seat is another's by then. */
  vacate(why: 'silent' | 'replaced'): void
}

export interface Seats {
  /**
   * Gives the run's seat to a newcomer: one of the same name takes its own place, another one that of a silent controller. Problem
   * `controller-busy`.
   */
  take(runId: string, newcomer: Seated): void
  /** Leaves the seat, where it is still one's own. */
  leave(runId: string, seated: Seated): void
}

export function openSeats(): Seats {
  const seats = new Map<string, Seated>()
  return {
    take(runId, newcomer) {
      const there = seats.get(runId)
      const isOwn = there?.controller === newcomer.controller
      if (there && !isOwn && !there.isSilent()) {
        throw new Problem('controller-busy', `controller ${there.controller} has run ${runId}`, {
          measured: there.controller,
        })
      }
      seats.set(runId, newcomer)
      there?.vacate(isOwn ? 'replaced' : 'silent')
    },
    leave(runId, seated) {
      if (seats.get(runId) === seated) seats.delete(runId)
    },
  }
}
