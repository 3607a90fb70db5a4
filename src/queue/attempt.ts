// One try of one piece of work: from what its handler did to what becomes of the work.
import { canonicalText } from '../kernel/bytes.ts'
import { Problem, problemTable, toProblemDetails } from '../kernel/problem.ts'
import type { WorkContext, WorkHandler } from './port.ts'
import type { Ending, WorkRow } from './work-table.ts'

export type Outcome = { readonly result: string } | { readonly thrown: unknown }

/** Why a running try was asked to end early: the work was cancelled, or the queue closes and it will be tried again. */
export type Interruption = 'cancelled' | 'closing' | undefined

/** Never throws; a result that JSON can't hold is a failure of the handler. */
export async function attempt(handler: WorkHandler, row: WorkRow, context: WorkContext): Promise<Outcome> {
  try {
    const result = await handler(JSON.parse(row.payload), context)
    return { result: JSON.stringify(result ?? null) }
  } catch (thrown) {
    return { thrown }
  }
}

export const cancelledText = canonicalText(toProblemDetails(new Problem('work-state', 'the work was cancelled')))
export const crashedText = canonicalText(
  toProblemDetails(new Problem('internal', 'the process died each time that this work was running')),
)

const toProblem = (thrown: unknown): Problem =>
  thrown instanceof Problem
    ? thrown
    : new Problem('internal', thrown instanceof Error ? `${thrown.name}: ${thrown.message}` : String(thrown))

const canHelp = (problem: Problem): boolean => problemTable[problem.code].retry === 'later'

/** What the try's outcome means for the work. A failure by closing costs no try; a problem that a retry can't help is final. */
export function toEnding(
  outcome: Outcome,
  {
    row,
    interruption,
    nowMs,
    pauseMs,
  }: {
    row: WorkRow
    interruption: Interruption
    nowMs: number
    pauseMs: (attempt: number) => number
  },
): Ending {
  if ('result' in outcome) return { state: 'done', result: outcome.result }
  if (interruption === 'cancelled') return { state: 'cancelled', error: cancelledText }
  if (interruption === 'closing') {
    return { state: 'waiting', error: row.error, attempts: row.attempts - 1, dueAtMs: 0 }
  }
  const problem = toProblem(outcome.thrown)
  const error = JSON.stringify(toProblemDetails(problem))
  if (!canHelp(problem) || row.attempts >= row.attemptsMax) return { state: 'dead', error }
  return { state: 'waiting', error, attempts: row.attempts, dueAtMs: nowMs + pauseMs(row.attempts) }
}
