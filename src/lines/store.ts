// Line profiles and tickets in the catalogue: every revision stays, so that a run's own can be looked up later.
import { canonicalText, sha256Hex } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { type Finding, Problem } from '../kernel/problem.ts'
import { firstOf } from '../kernel/schema-findings.ts'
import type { Database } from '../storage/port.ts'
import { checkLine } from './line-check.ts'
import type { LineProfile } from './profile.ts'
import type { Ticket } from './ticket.ts'
import { checkTicket, type TicketSurroundings } from './ticket-check.ts'

export interface Stored<T> {
  readonly revision: number
  readonly digest: string
  readonly content: T
}

interface Store {
  readonly database: Database
  readonly clock: Clock
}

// The refusal has the code of its first finding; those of the schema come first.
function refusal(what: string, findings: readonly Finding[]): Problem {
  const [first] = findings
  return new Problem(first?.code ?? 'internal', `${what} does not fit: ${firstOf(findings)}`, { findings })
}

/** Reads a line profile. Problem `line-schema`, or another of `lineCodes` where only the contents contradict, with all findings. */
export function parseLine(value: unknown): LineProfile {
  const { line, findings } = checkLine(value)
  if (!line) throw refusal('the line profile', findings)
  return line
}

/** Reads a ticket. Problem `ticket-schema`, or another of `ticketCodes` where only the contents contradict, with all findings. */
export function parseTicket(value: unknown, around?: TicketSurroundings): Ticket {
  const { ticket, findings } = checkTicket(value, around)
  if (!ticket) throw refusal('the ticket', findings)
  return ticket
}

/** Stores a line profile as its next revision; the same content again is the same revision. */
export async function putLine({ database, clock }: Store, line: LineProfile): Promise<Stored<LineProfile>> {
  const content = canonicalText(line)
  const digest = sha256Hex(content)
  return database.catalogue.transaction().execute(async (trx) => {
    const last = await trx
      .selectFrom('lines')
      .selectAll()
      .where('line', '=', line.line)
      .orderBy('revision', 'desc')
      .executeTakeFirst()
    if (last?.digest === digest) return { revision: last.revision, digest, content: line }
    const revision = (last?.revision ?? 0) + 1
    await trx
      .insertInto('lines')
      .values({ line: line.line, revision, digest, content, storedAtMs: clock.nowMs() })
      .execute()
    return { revision, digest, content: line }
  })
}

/** Stores a ticket as its next revision; runs keep the revision that they opened with. */
export async function putTicket({ database, clock }: Store, ticket: Ticket): Promise<Stored<Ticket>> {
  const content = canonicalText(ticket)
  const digest = sha256Hex(content)
  return database.catalogue.transaction().execute(async (trx) => {
    const rows = trx.selectFrom('tickets').selectAll().where('ticket', '=', ticket.ticket).orderBy('revision', 'desc')
    const last = await rows.executeTakeFirst()
    if (last?.digest === digest) return { revision: last.revision, digest, content: ticket }
    const revision = (last?.revision ?? 0) + 1
    await trx
      .insertInto('tickets')
      .values({ ticket: ticket.ticket, revision, digest, content, storedAtMs: clock.nowMs() })
      .execute()
    return { revision, digest, content: ticket }
  })
}

interface Wanted {
  /** Absent: the newest. */
  readonly revision?: number | undefined
}

/** A revision of a line profile. Problem `line-not-found`. */
export async function getLine(
  { database }: Pick<Store, 'database'>,
  name: string,
  { revision }: Wanted = {},
): Promise<Stored<LineProfile>> {
  const rows = database.catalogue.selectFrom('lines').selectAll().where('line', '=', name)
  const wanted = revision === undefined ? rows.orderBy('revision', 'desc') : rows.where('revision', '=', revision)
  const row = await wanted.executeTakeFirst()
  if (!row) throw new Problem('line-not-found', `no line profile ${named(name, revision)} is stored`)
  return { revision: row.revision, digest: row.digest, content: JSON.parse(row.content) as LineProfile }
}

/** A revision of a ticket. Problem `ticket-not-found`. */
export async function getTicket(
  { database }: Pick<Store, 'database'>,
  name: string,
  { revision }: Wanted = {},
): Promise<Stored<Ticket>> {
  const rows = database.catalogue.selectFrom('tickets').selectAll().where('ticket', '=', name)
  const wanted = revision === undefined ? rows.orderBy('revision', 'desc') : rows.where('revision', '=', revision)
  const row = await wanted.executeTakeFirst()
  if (!row) throw new Problem('ticket-not-found', `no ticket ${named(name, revision)} is stored`)
  return { revision: row.revision, digest: row.digest, content: JSON.parse(row.content) as Ticket }
}

const named = (name: string, revision: number | undefined): string =>
  revision === undefined ? name : `${name} of revision ${revision}`

export interface Revision {
  readonly revision: number
  readonly digest: string
  readonly storedAtMs: number
}

/** Revisions of a line profile, oldest first. Problem `line-not-found`. */
export async function lineRevisions({ database }: Pick<Store, 'database'>, name: string): Promise<readonly Revision[]> {
  const rows = database.catalogue.selectFrom('lines').select(['revision', 'digest', 'storedAtMs'])
  const found = await rows.where('line', '=', name).orderBy('revision').execute()
  if (found.length === 0) throw new Problem('line-not-found', `no line profile ${name} is stored`)
  return found
}

/** Revisions of a ticket, oldest first. Problem `ticket-not-found`. */
export async function ticketRevisions(
  { database }: Pick<Store, 'database'>,
  name: string,
): Promise<readonly Revision[]> {
  const rows = database.catalogue.selectFrom('tickets').select(['revision', 'digest', 'storedAtMs'])
  const found = await rows.where('ticket', '=', name).orderBy('revision').execute()
  if (found.length === 0) throw new Problem('ticket-not-found', `no ticket ${name} is stored`)
  return found
}

export interface ListedLine {
  readonly line: string
  readonly title: string
  readonly revision: number
  readonly storedAtMs: number
}

/** The newest revision of each line profile, by name. */
export async function listLines({ database }: Pick<Store, 'database'>): Promise<readonly ListedLine[]> {
  const rows = await database.catalogue.selectFrom('lines').selectAll().orderBy('line').orderBy('revision').execute()
  return [...new Map(rows.map((row) => [row.line, row])).values()].map(({ line, revision, storedAtMs, content }) => {
    return { line, title: (JSON.parse(content) as LineProfile).title, revision, storedAtMs }
  })
}

export interface ListedTicket {
  readonly ticket: string
  readonly roll: string
  readonly jobs: readonly string[]
  readonly pass: number
  readonly revision: number
  readonly storedAtMs: number
}

/** The newest revision of each ticket, by name. */
export async function listTickets({ database }: Pick<Store, 'database'>): Promise<readonly ListedTicket[]> {
  const newest = await database.catalogue
    .selectFrom('tickets')
    .select(({ fn }) => ['ticket', fn.max('revision').as('revision')])
    .groupBy('ticket')
    .orderBy('ticket')
    .execute()
  const listed: ListedTicket[] = []
  for (const { ticket, revision } of newest) {
    const { storedAtMs, content } = await database.catalogue
      .selectFrom('tickets')
      .select(['storedAtMs', 'content'])
      .where('ticket', '=', ticket)
      .where('revision', '=', revision)
      .executeTakeFirstOrThrow()
    const { roll, jobs, pass } = JSON.parse(content) as Ticket
    listed.push({ ticket, roll, jobs: jobs.map(({ job }) => job), pass, revision, storedAtMs })
  }
  return listed
}

/** Names of stored lines and tickets, sorted. */
export async function listNames({
  database,
}: Pick<Store, 'database'>): Promise<{ lines: string[]; tickets: string[] }> {
  const lines = await database.catalogue.selectFrom('lines').select('line').distinct().orderBy('line').execute()
  const tickets = await database.catalogue.selectFrom('tickets').select('ticket').distinct().orderBy('ticket').execute()
  return { lines: lines.map((row) => row.line), tickets: tickets.map((row) => row.ticket) }
}
