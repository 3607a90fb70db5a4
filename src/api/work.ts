// Routes of queued work: what waits, what died, and putting it back.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import { roles } from '../people/index.ts'
import { workStates } from '../queue/port.ts'
import type { ApiParts } from './parts.ts'
import { maySeeLine } from './people.ts'
import { type Route, route } from './route.ts'

export const workSchema = z
  .object({
    id: z.string(),
    kind: z.string(),
    state: z.enum(workStates),
    priority: z.int(),
    attempts: z.int(),
    attemptsMax: z.int(),
    progress: z.number(),
    progressNote: z.string(),
    payload: z.unknown(),
    result: z.unknown().optional(),
    error: z.unknown().optional(),
    createdAtMs: z.int(),
    endedAtMs: z.int().optional(),
  })
  .meta({ id: 'Work' })

const params = z.object({ id: z.string().min(1).max(500) })

export const workRoutes = ({ queue }: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/work',
    tag: 'work',
    roles: ['prepress', 'qa', 'admin'],
    summary: 'Queued work, by state and kind; state dead shows what failed for good',
    query: z.object({
      state: z.enum(workStates).optional(),
      kind: z.string().max(100).optional(),
      count: z.coerce.number().int().min(1).max(1_000).default(100),
    }),
    returns: [
      {
        status: 200,
        description: 'Work',
        schema: z.object({ counts: z.record(z.string(), z.int()), work: z.array(workSchema) }),
      },
    ],
    problems: [],
    async handle({ query }) {
      const filter = {
        count: query.count,
        ...(query.state ? { state: query.state } : {}),
        ...(query.kind ? { kind: query.kind } : {}),
      }
      return { json: { counts: await queue.counts(), work: await queue.list(filter) } }
    },
  }),
  route({
    method: 'get',
    path: '/work/:id',
    tag: 'work',
    roles,
    summary: 'One piece of work with its progress, result or error',
    params,
    returns: [{ status: 200, description: 'The work', schema: workSchema }],
    problems: ['work-not-found'],
    async handle({ params: { id }, caller }) {
      const work = await queue.get(id)
      // What a line's own questions have set going says for which line; other work tells of other lines.
      const { line = '' } = (work?.payload ?? {}) as { line?: string }
      if (!maySeeLine(caller, line)) throw new Problem('forbidden', 'the work is not for the line that the key is for')
      if (!work) throw new Problem('work-not-found', `no work ${id}`)
      return { json: work }
    },
  }),
  route({
    method: 'post',
    path: '/work/:id/requeue',
    tag: 'work',
    roles: ['prepress', 'admin'],
    summary: 'Put dead or cancelled work back with fresh tries',
    params,
    returns: [{ status: 200, description: 'The work', schema: workSchema }],
    problems: ['work-not-found', 'work-state'],
    handle: async ({ params: { id } }) => ({ json: await queue.requeue(id) }),
  }),
  route({
    method: 'post',
    path: '/work/:id/cancel',
    tag: 'work',
    roles: ['prepress', 'admin'],
    summary: 'Cancel work that waits or runs',
    params,
    returns: [{ status: 200, description: 'The work', schema: workSchema }],
    problems: ['work-not-found', 'work-state'],
    handle: async ({ params: { id } }) => ({ json: await queue.cancel(id) }),
  }),
]
