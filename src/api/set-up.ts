// The route of a run's set-up: what was laid before the run proper, and who proved it.
import * as z from 'zod'
import { provingReasons } from '../ledger/index.ts'
import { roles } from '../people/index.ts'
import { setUpReport } from '../runs/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const acted = {
  ledgerIndex: z.int(),
  atMs: z.int(),
  by: z.string(),
  why: z.string().optional(),
  second: z.string().optional(),
}
const label = { lane: z.int(), frame: z.int(), cell: z.int() }

const setUpSchema = z
  .object({
    runId: z.string(),
    state: z.string(),
    sections: z.array(
      z.object({
        began: z.object(acted),
        reason: z.enum(['first', 'asked', ...provingReasons]),
        frames: z.int(),
        firstFrame: z.int().optional(),
        lastFrame: z.int().optional(),
        labels: z.int(),
        lanes: z.array(z.object({ lane: z.int(), labels: z.int(), lay: z.int(), skip: z.int(), stop: z.int() })),
        webM: z.number().meta({ description: 'Web run as set-up, from measured positions, m' }),
        proved: z
          .object({
            ...acted,
            lanes: z.array(z.int()),
            compared: z.array(z.object({ ...label, code: z.string().optional() })),
          })
          .optional(),
        endedBy: z
          .object({ ...acted, to: z.string() })
          .optional()
          .meta({ description: 'Where nobody proved it' }),
        list: z
          .array(z.object({ ...label, decision: z.string(), code: z.string().optional(), laid: z.string().optional() }))
          .optional(),
      }),
    ),
    labels: z.int(),
    webM: z.number(),
  })
  .meta({ id: 'SetUp', description: 'Proving sections of a run, in order.' })

export const setUpRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/runs/:runId/set-up',
    tag: 'runs',
    roles,
    summary: 'Set-up labels of a run by proving section and lane; with labels=true each of them, up to 10,000',
    params: z.object({ runId: z.string().max(200) }),
    query: z.object({ labels: z.enum(['true', 'false']).default('false') }),
    returns: [{ status: 200, description: 'The sections', schema: setUpSchema }],
    problems: ['run-not-found'],
    async handle({ params, query }) {
      const run = await parts.runs.get(params.runId)
      return { json: await setUpReport(parts.database, run, { labels: query.labels === 'true' }) }
    },
  }),
]
