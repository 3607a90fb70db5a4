// Routes of line profiles and tickets.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import {
  getLine,
  getTicket,
  type LineProfile,
  lineSchema,
  listNames,
  parseLine,
  parseTicket,
  putLine,
  putTicket,
  type Ticket,
  ticketSchema,
} from '../lines/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const stored = <T extends z.ZodType>(content: T) => z.object({ revision: z.int(), digest: z.string(), content })
const name = z.string().min(1).max(200)

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
      summary: 'Store a line profile as its next revision',
      params: z.object({ line: name }),
      body: z.unknown().meta({ description: 'rollcall.line/1' }),
      returns: [{ status: 200, description: 'Stored', schema: stored(lineSchema) }],
      problems: ['line-schema'],
      async handle({ params, body }) {
        const line: LineProfile = parseLine(body)
        demandName(params.line, line.line)
        return { json: await putLine(parts, line) }
      },
    }),
    route({
      method: 'put',
      path: '/tickets/:ticket',
      tag: 'tickets',
      summary: 'Store a ticket as its next revision; open runs keep theirs',
      params: z.object({ ticket: name }),
      body: z.unknown().meta({ description: 'rollcall.ticket/1' }),
      returns: [{ status: 200, description: 'Stored', schema: stored(ticketSchema) }],
      problems: ['ticket-schema'],
      async handle({ params, body }) {
        const ticket: Ticket = parseTicket(body)
        demandName(params.ticket, ticket.ticket)
        return { json: await putTicket(parts, ticket) }
      },
    }),
  ]
}

export const lineRoutes = (parts: ApiParts): readonly Route[] => [
  ...storeRoutes(parts),
  route({
    method: 'get',
    path: '/lines/:line',
    tag: 'lines',
    summary: 'The newest revision of a line profile',
    params: z.object({ line: name }),
    returns: [{ status: 200, description: 'The profile', schema: stored(lineSchema) }],
    problems: ['line-not-found'],
    handle: async ({ params }) => ({ json: await getLine(parts, params.line) }),
  }),
  route({
    method: 'get',
    path: '/tickets/:ticket',
    tag: 'tickets',
    summary: 'The newest revision of a ticket',
    params: z.object({ ticket: name }),
    returns: [{ status: 200, description: 'The ticket', schema: stored(ticketSchema) }],
    problems: ['ticket-not-found'],
    handle: async ({ params }) => ({ json: await getTicket(parts, params.ticket) }),
  }),
  route({
    method: 'get',
    path: '/names',
    tag: 'lines',
    summary: 'Names of stored line profiles and tickets',
    returns: [
      {
        status: 200,
        description: 'Names',
        schema: z.object({ lines: z.array(z.string()), tickets: z.array(z.string()) }),
      },
    ],
    problems: [],
    handle: async () => ({ json: await listNames(parts) }),
  }),
]
