// Routes of readiness: whether a ticket may run on a line now, at once, as queued work, and whether it may have changed.
import * as z from 'zod'
import { readinessCodes } from '../lines/index.ts'
import { roles } from '../people/index.ts'
import { readinessOrder, readinessView } from '../runs/index.ts'
import { enqueue } from './packages.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'
import { workSchema } from './work.ts'

const name = z.string().min(1).max(200)
const labels = z.int().meta({ description: 'Labels of the sequence that are concerned; absent without a sequence.' })
const example = z.object({ position: z.int(), cell: z.int(), code: z.string() })

const row = z
  .object({
    code: z.enum(readinessCodes),
    message: z.string(),
    mend: z.string().meta({ description: 'What would mend it.' }),
    job: z.string().optional(),
    design: z.string().optional(),
    print: z.string().optional(),
    version: z.int().optional(),
    layer: z.string().optional(),
    labels: labels.optional(),
    examples: z.array(example).max(3).optional(),
    measured: z.union([z.string(), z.number()]).optional(),
    limit: z.union([z.string(), z.number()]).optional(),
  })
  .meta({ id: 'ReadinessRow' })

const readinessSchema = z
  .object({
    ready: z.boolean(),
    blockers: z.array(row),
    warnings: z.array(row),
    revision: z.string().meta({ description: 'Another one whenever the answer may be another.' }),
    expected: z
      .object({
        positions: z.int(),
        labels: z.int(),
        versions: z.array(z.object({ job: z.string(), design: z.string(), version: z.int(), labels: z.int() })),
      })
      .optional()
      .meta({ description: 'What the sequence leads one to expect.' }),
    sums: z.looseObject({ ticket: z.string() }).optional().meta({ description: 'As of /lines/{line}/sums.' }),
  })
  .meta({ id: 'Readiness' })

export const readinessRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/readiness',
    tag: 'runs',
    roles,
    summary: 'Whether a ticket may run on a line now: blockers and warnings; takes its time with a long sequence',
    query: z.object({ ticket: name, line: name }),
    returns: [{ status: 200, description: 'Blockers and warnings', schema: readinessSchema }],
    problems: ['ticket-not-found', 'line-not-found'],
    handle: async ({ query }) => ({ json: readinessView(await parts.runs.readiness(query)) }),
  }),
  route({
    method: 'post',
    path: '/readiness',
    tag: 'runs',
    roles,
    summary: 'The same as queued work with progress, for sequences of many labels',
    body: z.strictObject({ ticket: name, line: name }),
    returns: [
      {
        status: 202,
        description: 'Queued; follow it at /work/{id}, or send Prefer: wait=<seconds>',
        schema: workSchema,
      },
      { status: 200, description: 'With Prefer: wait; the work with the readiness as its result', schema: workSchema },
    ],
    problems: ['ticket-not-found', 'line-not-found'],
    async handle({ body, request }) {
      // What is not there is said at once.
      await parts.runs.readinessRevision(body)
      return enqueue(parts, request, readinessOrder(body))
    },
  }),
  route({
    method: 'get',
    path: '/readiness/revision',
    tag: 'runs',
    roles,
    summary:
      'Whether readiness may have changed: another text whenever ticket, line, versions or stored bytes have; cheap',
    query: z.object({ ticket: name, line: name }),
    returns: [{ status: 200, description: 'The revision', schema: z.object({ revision: z.string() }) }],
    problems: ['ticket-not-found', 'line-not-found'],
    handle: async ({ query }) => ({ json: { revision: await parts.runs.readinessRevision(query) } }),
  }),
]
