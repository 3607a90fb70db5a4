// Readiness as queued work, for sequences that one has to wait for.
import { randomUUID } from 'node:crypto'
import * as z from 'zod'
import type { WorkHandler, WorkOrder } from '../queue/port.ts'
import type { ReadinessNames, WeighedTicket } from './readiness.ts'
import type { Runs } from './registry.ts'

const payloadSchema = z.strictObject({ ticket: z.string(), line: z.string() })

/** Each asking is a piece of work of its own: what it hangs on may have changed since the last. */
export const readinessOrder = ({ ticket, line }: ReadinessNames): WorkOrder => ({
  id: `readiness-${randomUUID()}`,
  kind: 'readiness',
  payload: { ticket, line },
  attemptsMax: 2,
})

/** What is answered of a weighed ticket: without the frozen versions, which only a run needs. */
export const readinessView = ({ ready, blockers, warnings, expected, sums, revision }: WeighedTicket) => ({
  ready,
  blockers,
  warnings,
  revision,
  ...(expected ? { expected } : {}),
  ...(sums ? { sums } : {}),
})

/** The handler of `readiness` work. */
export const readinessHandler =
  (runs: Pick<Runs, 'readiness'>): WorkHandler =>
  async (payload, { progress, signal }) =>
    readinessView(await runs.readiness(payloadSchema.parse(payload), { progress, signal }))
