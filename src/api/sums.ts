// The route of the sums: what a roll uses up, how fast and how long it runs, how large it winds; and what if.
import * as z from 'zod'
import {
  freeze,
  getLine,
  getTicket,
  type LayerSumOf,
  layerSumsOrder,
  ordersFor,
  type SumInquiry,
  sumOrder,
  sumsRows,
  sumTicket,
  type WhatIf,
  whatIfSchema,
} from '../lines/index.ts'
import { roles } from '../people/index.ts'
import type { WorkItem } from '../queue/port.ts'
import { enqueue } from './packages.ts'
import type { ApiParts } from './parts.ts'
import { type Reply, type Route, route } from './route.ts'
import { sumsReplySchema } from './sums-schema.ts'
import { workSchema } from './work.ts'

interface Names {
  readonly ticket: string
  readonly line: string
}

// Labels by version and frames, where the ticket's sequence says them.
async function expectedOf({ runs }: ApiParts, names: Names): Promise<Pick<SumInquiry, 'counts' | 'framesExpected'>> {
  const { expected } = await runs.readiness(names)
  return expected ? { counts: expected.versions, framesExpected: expected.positions } : {}
}

async function inquiryOf(parts: ApiParts, names: Names): Promise<SumInquiry> {
  const { content: ticket } = await getTicket(parts, names.ticket)
  const { content: line } = await getLine(parts, names.line)
  const layerSums: LayerSumOf = (layer, station) => parts.layerSums.of(sumOrder(layer, station))
  const inquiry = { ticket, line, frozen: freeze(parts.catalogue.current(), ticket), layerSums }
  return ticket.sequence ? { ...inquiry, ...(await expectedOf(parts, names)) } : inquiry
}

async function weighed(inquiry: SumInquiry) {
  const sums = await sumTicket(inquiry)
  return { sums, ...sumsRows(sums) }
}

export const sumsRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'post',
    path: '/lines/:line/sums',
    tag: 'lines',
    summary:
      'The sums of a ticket on the line: varnish, adhesive, foil, speed ceiling, diameters, minutes; nothing is stored',
    roles,
    params: z.object({ line: z.string().min(1).max(200) }),
    body: z.strictObject({ ticket: z.string().min(1).max(200), whatIf: whatIfSchema.optional() }),
    returns: [
      { status: 200, description: 'The sums, and beside them those of what-if', schema: sumsReplySchema },
      {
        status: 202,
        description: 'Layers must be read first: follow the work, then ask again; or send Prefer: wait=<seconds>',
        schema: workSchema,
      },
    ],
    problems: ['line-not-found', 'ticket-not-found', 'package-not-found'],
    async handle({ params, body, request }) {
      const names = { ticket: body.ticket, line: params.line }
      const inquiry = await inquiryOf(parts, names)
      const lacking = await parts.layerSums.missing(ordersFor(inquiry))
      if (lacking.length > 0) {
        const reply = await enqueue(parts, request, layerSumsOrder(names, lacking))
        if (isUnderWay(reply)) return reply
      }
      const own = await weighed(inquiry)
      if (!body.whatIf) return { json: own }
      const whatIf = definite(body.whatIf)
      const asked = await weighed({ ...inquiry, whatIf })
      const blockers = whatIf.foils ? await parts.runs.reelsInstead(names, whatIf.foils) : []
      return { json: { ...own, whatIf: { ...asked, blockers: [...blockers, ...asked.blockers] } } }
    },
  }),
]

// Work that was done before and whose results are lost since is done again by the sums themselves.
const isUnderWay = (reply: Reply): boolean =>
  reply !== 'sent' && 'json' in reply && (reply.json as WorkItem).state !== 'done'

/** Without keys whose value is undefined, which zod's optional fields may carry. */
const definite = (whatIf: WhatIf): WhatIf =>
  Object.fromEntries(Object.entries(whatIf).filter(([, value]) => value !== undefined))
