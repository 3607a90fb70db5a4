// Line profiles and tickets in the catalogue: every revision stays, so that a run's own can be looked up later.
import type * as z from 'zod'
import { canonicalText, sha256Hex } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { Problem, type ProblemCode } from '../kernel/problem.ts'
import { firstOf, schemaFindings } from '../kernel/schema-findings.ts'
import type { Database } from '../storage/port.ts'
import { policyFindings } from './policy.ts'
import { type LineProfile, lineSchema } from './profile.ts'
import { type Ticket, ticketSchema } from './ticket.ts'

export interface Stored<T> {
  readonly revision: number
  readonly digest: string
  readonly content: T
}

interface Store {
  readonly database: Database
  readonly clock: Clock
}

function parse<T>(schema: z.ZodType<T>, value: unknown, of: { code: ProblemCode; name: string }): T {
  const parsed = schema.safeParse(value)
  if (parsed.success) return parsed.data
  const findings = schemaFindings(parsed.error, value, of.code)
  throw new Problem(of.code, `${of.name} does not fit: ${firstOf(findings)}`, { findings })
}

/** Reads a line profile. Problem `line-schema` with all findings, laxer policy rows among them. */
export function parseLine(value: unknown): LineProfile {
  const line = parse(lineSchema, value, { code: 'line-schema', name: 'the line profile' })
  const findings = policyFindings(line)
  const [first] = findings
  if (first)
    throw new Problem('line-schema', `the line's policy is laxer than the default: ${first.message}`, { findings })
  return line
}

/** Reads a ticket. Problem `ticket-schema` with all findings. */
export const parseTicket = (value: unknown): Ticket =>
  parse(ticketSchema, value, { code: 'ticket-schema', name: 'the ticket' })

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

/** The newest revision of a line profile. Problem `line-not-found`. */
export async function getLine({ database }: Pick<Store, 'database'>, name: string): Promise<Stored<LineProfile>> {
  const row = await database.catalogue
    .selectFrom('lines')
    .selectAll()
    .where('line', '=', name)
    .orderBy('revision', 'desc')
    .executeTakeFirst()
  if (!row) throw new Problem('line-not-found', `no line profile ${name} is stored`)
  return { revision: row.revision, digest: row.digest, content: JSON.parse(row.content) as LineProfile }
}

/** The newest revision of a ticket. Problem `ticket-not-found`. */
export async function getTicket({ database }: Pick<Store, 'database'>, name: string): Promise<Stored<Ticket>> {
  const row = await database.catalogue
    .selectFrom('tickets')
    .selectAll()
    .where('ticket', '=', name)
    .orderBy('revision', 'desc')
    .executeTakeFirst()
  if (!row) throw new Problem('ticket-not-found', `no ticket ${name} is stored`)
  return { revision: row.revision, digest: row.digest, content: JSON.parse(row.content) as Ticket }
}

/** Names of stored lines and tickets, sorted. */
export async function listNames({
  database,
}: Pick<Store, 'database'>): Promise<{ lines: string[]; tickets: string[] }> {
  const lines = await database.catalogue.selectFrom('lines').select('line').distinct().orderBy('line').execute()
  const tickets = await database.catalogue.selectFrom('tickets').select('ticket').distinct().orderBy('ticket').execute()
  return { lines: lines.map((row) => row.line), tickets: tickets.map((row) => row.ticket) }
}
