// Rows of runs in the catalogue, and the refusal of a ticket that is not ready.
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { Readiness, Ticket } from '../lines/index.ts'
import type { Database } from '../storage/port.ts'

/** Jobs of a run's tickets, each once, as its row holds them. */
export const jobsText = (tickets: readonly Ticket[]): string =>
  JSON.stringify([...new Set(tickets.flatMap(({ jobs }) => jobs.map(({ job }) => job)))])

/** Gives a new run its id, `<ticket>.<n>`: ids are never used again while a row stands. */
export function registerRun(
  { database, clock }: { readonly database: Database; readonly clock: Clock },
  { ticket: opened, line }: { readonly ticket: Ticket; readonly line: string },
): Promise<string> {
  const { ticket, roll, pass } = opened
  const jobs = jobsText([opened])
  return database.catalogue.transaction().execute(async (trx) => {
    const rows = await trx.selectFrom('runs').select('runId').where('ticket', '=', ticket).execute()
    const numbers = rows.map((row) => Number(row.runId.slice(ticket.length + 1)))
    const runId = `${ticket}.${Math.max(0, ...numbers) + 1}`
    const row = { runId, ticket, line, state: 'ready', epoch: 1, createdAtMs: clock.nowMs(), roll, pass, jobs }
    await trx.insertInto('runs').values(row).execute()
    return runId
  })
}

/** A run whose first entry could not be written never was. */
export async function forgetUnopened(database: Database, runId: string): Promise<void> {
  const head = await database.ledgerHead(runId)
  if (!head) await database.catalogue.deleteFrom('runs').where('runId', '=', runId).execute()
}

/** Blockers of one kind in one phrase: a foil that is not threaded blocks every design alike. */
export function notReady(rows: Readiness['blockers']): Problem {
  const kinds = new Map<string, Readiness['blockers'][number][]>()
  for (const row of rows) {
    const kind = `${row.code}: ${row.message}`
    const alike = kinds.get(kind)
    if (alike) alike.push(row)
    else kinds.set(kind, [row])
  }
  const list = [...kinds].map(([kind, alike]) => {
    const [first] = alike
    const where = [first?.job, first?.design, first?.layer].filter(Boolean).join('/')
    return `${kind} (${where}${alike.length > 1 ? ` and ${alike.length - 1} more` : ''})`
  })
  const more = list.length > 5 ? ` and ${list.length - 5} more kinds` : ''
  return new Problem(
    'not-ready',
    `${rows.length} ${rows.length === 1 ? 'blocker' : 'blockers'}: ${list.slice(0, 5).join('; ')}${more}`,
    {
      measured: rows.length,
      limit: 0,
    },
  )
}
