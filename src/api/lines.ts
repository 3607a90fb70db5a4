// Routes of line profiles and tickets.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import {
  checkLine,
  checkTicket,
  getLine,
  getTicket,
  lineCodes,
  lineRevisions,
  lineSchema,
  listLines,
  listNames,
  listTickets,
  parseLine,
  parseTicket,
  putLine,
  putTicket,
  type TicketSurroundings,
  ticketCodes,
  ticketRevisions,
  ticketSchema,
} from '../lines/index.ts'
import { roles } from '../people/index.ts'
import type { ApiParts } from './parts.ts'
import { heldTo, maySeeLine, onlyLine } from './people.ts'
import { type Route, route } from './route.ts'

const stored = <T extends z.ZodType>(content: T) => z.object({ revision: z.int(), digest: z.string(), content })
const name = z.string().min(1).max(200)
const revision = z.coerce.number().int().min(1).max(1_000_000_000)
const revisionQuery = z.object({ revision: revision.optional().meta({ description: 'Absent: the newest.' }) })
const revisionsSchema = z.object({
  revisions: z.array(z.object({ revision: z.int(), digest: z.string(), storedAtMs: z.int() })),
})
const listed = z.looseObject({ revision: z.int(), storedAtMs: z.int() })
const findings = z.object({
  findings: z.array(
    z.object({
      code: z.string(),
      message: z.string(),
      pointer: z.string().optional(),
      measured: z.union([z.string(), z.number()]).optional(),
      limit: z.union([z.string(), z.number()]).optional(),
    }),
  ),
})

// What a ticket is held against: what is published, and a stored line where one is named.
async function aroundTicket(parts: ApiParts, line: string | undefined): Promise<TicketSurroundings> {
  const { jobs } = parts.catalogue.current()
  const frameOf = (job: string) => jobs.get(job)?.frame
  return line === undefined ? { frameOf } : { frameOf, line: (await getLine(parts, line)).content }
}

function demandName(inPath: string, inBody: string): void {
  if (inPath !== inBody)
    throw new Problem('bad-request', 'the name in the path is not the one in the body', {
      measured: inBody,
      limit: inPath,
    })
}

function storeRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'put',
      path: '/lines/:line',
      tag: 'lines',
      roles: ['line', 'admin'],
      summary: 'Store a line profile as its next revision',
      params: z.object({ line: name }),
      body: z.unknown().meta({ description: 'rollcall.line/1' }),
      returns: [{ status: 200, description: 'Stored', schema: stored(lineSchema) }],
      problems: [...lineCodes],
      async handle({ params, body }) {
        const line = parseLine(body)
        demandName(params.line, line.line)
        return { json: await putLine(parts, line) }
      },
    }),
    route({
      method: 'put',
      path: '/tickets/:ticket',
      tag: 'tickets',
      roles: ['prepress', 'line', 'admin'],
      summary: 'Store a ticket as its next revision; open runs keep theirs',
      params: z.object({ ticket: name }),
      query: lineQuery,
      body: z.unknown().meta({ description: 'rollcall.ticket/1' }),
      returns: [{ status: 200, description: 'Stored', schema: stored(ticketSchema) }],
      problems: [...ticketCodes, 'line-not-found'],
      async handle({ params, query, body }) {
        const ticket = parseTicket(body, await aroundTicket(parts, query.line))
        demandName(params.ticket, ticket.ticket)
        return { json: await putTicket(parts, ticket) }
      },
    }),
  ]
}

const lineQuery = z.object({
  line: name.optional().meta({ description: 'A stored line that the ticket is held against as well.' }),
})

const checkRoutes = (parts: ApiParts): Route[] => [
  route({
    method: 'post',
    path: '/lines/check',
    tag: 'lines',
    roles,
    summary: 'Check a line profile: everything that is wrong with it at once; nothing is stored',
    body: z.unknown().meta({ description: 'rollcall.line/1' }),
    returns: [{ status: 200, description: 'Findings; none where it may be stored', schema: findings }],
    problems: [],
    handle: async ({ body }) => ({ json: { findings: checkLine(body).findings } }),
  }),
  route({
    method: 'post',
    path: '/tickets/check',
    tag: 'tickets',
    roles,
    summary:
      'Check a ticket against what is published, and a line: everything that is wrong at once; nothing is stored',
    query: lineQuery,
    body: z.unknown().meta({ description: 'rollcall.ticket/1' }),
    returns: [{ status: 200, description: 'Findings; none where it may be stored', schema: findings }],
    problems: ['line-not-found'],
    handle: async ({ query, body }) => ({
      json: { findings: checkTicket(body, await aroundTicket(parts, query.line)).findings },
    }),
  }),
]

const listRoutes = (parts: ApiParts): Route[] => [
  route({
    method: 'get',
    path: '/lines',
    tag: 'lines',
    roles,
    summary: 'Stored line profiles with their newest revisions; with a key of role line that line alone',
    returns: [{ status: 200, description: 'Lines', schema: z.object({ lines: z.array(listed), onlyLine }) }],
    problems: [],
    async handle({ caller }) {
      const lines = await listLines(parts)
      return { json: { lines: lines.filter(({ line }) => maySeeLine(caller, line)), ...heldTo(caller) } }
    },
  }),
  route({
    method: 'get',
    path: '/tickets',
    tag: 'tickets',
    roles,
    summary: 'Stored tickets with their newest revisions',
    returns: [{ status: 200, description: 'Tickets', schema: z.object({ tickets: z.array(listed) }) }],
    problems: [],
    handle: async () => ({ json: { tickets: await listTickets(parts) } }),
  }),
  route({
    method: 'get',
    path: '/lines/:line/revisions',
    tag: 'lines',
    roles,
    summary: 'Every revision of a line profile, oldest first',
    params: z.object({ line: name }),
    returns: [{ status: 200, description: 'Revisions', schema: revisionsSchema }],
    problems: ['line-not-found'],
    handle: async ({ params }) => ({ json: { revisions: await lineRevisions(parts, params.line) } }),
  }),
  route({
    method: 'get',
    path: '/tickets/:ticket/revisions',
    tag: 'tickets',
    roles,
    summary: 'Every revision of a ticket, oldest first',
    params: z.object({ ticket: name }),
    returns: [{ status: 200, description: 'Revisions', schema: revisionsSchema }],
    problems: ['ticket-not-found'],
    handle: async ({ params }) => ({ json: { revisions: await ticketRevisions(parts, params.ticket) } }),
  }),
]

export const lineRoutes = (parts: ApiParts): readonly Route[] => [
  ...storeRoutes(parts),
  ...checkRoutes(parts),
  ...listRoutes(parts),
  route({
    method: 'get',
    path: '/lines/:line',
    tag: 'lines',
    roles,
    summary: 'A revision of a line profile; the newest, or the one named',
    params: z.object({ line: name }),
    query: revisionQuery,
    returns: [{ status: 200, description: 'The profile', schema: stored(lineSchema) }],
    problems: ['line-not-found'],
    handle: async ({ params, query }) => ({ json: await getLine(parts, params.line, query) }),
  }),
  route({
    method: 'get',
    path: '/tickets/:ticket',
    tag: 'tickets',
    roles,
    summary: 'A revision of a ticket; the newest, or the one named',
    params: z.object({ ticket: name }),
    query: revisionQuery,
    returns: [{ status: 200, description: 'The ticket', schema: stored(ticketSchema) }],
    problems: ['ticket-not-found'],
    handle: async ({ params, query }) => ({ json: await getTicket(parts, params.ticket, query) }),
  }),
  route({
    method: 'get',
    path: '/names',
    tag: 'lines',
    roles,
    summary: 'Names of stored line profiles and tickets; with a key of role line that line alone',
    returns: [
      {
        status: 200,
        description: 'Names',
        schema: z.object({ lines: z.array(z.string()), tickets: z.array(z.string()) }),
      },
    ],
    problems: [],
    async handle({ caller }) {
      const { lines, tickets } = await listNames(parts)
      return { json: { lines: lines.filter((line) => maySeeLine(caller, line)), tickets } }
    },
  }),
]
