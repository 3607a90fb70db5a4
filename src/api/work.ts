// Routes of queued work: what waits, what died, and putting it back.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import { roles } from '../people/index.ts'
import { type WorkItem, workStates } from '../queue/port.ts'
import { cancelRead, readKind } from '../runs/index.ts'
import type { Caller } from './callers.ts'
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

// What reads the pictures of a running line is not prepress's to hold up. Problems `work-not-found`, `forbidden`.
async function workFor({ queue }: Pick<ApiParts, 'queue'>, { key }: Caller, id: string): Promise<WorkItem> {
  const work = await queue.get(id)
  if (!work) throw new Problem('work-not-found', `no work ${id}`)
  if (work.kind === readKind && key !== undefined && key.role !== 'admin')
    throw new Problem('forbidden', 'the reading of pictures takes a key of role admin', { measured: key.role })
  return work
}

export const workRoutes = ({ queue, runs }: ApiParts): readonly Route[] => [
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
    summary: 'Put dead or cancelled work back with fresh tries; work that reads pictures takes role admin',
    params,
    returns: [{ status: 200, description: 'The work', schema: workSchema }],
    problems: ['work-not-found', 'work-state'],
    async handle({ params: { id }, caller }) {
      await workFor({ queue }, caller, id)
      return { json: await queue.requeue(id) }
    },
  }),
  route({
    method: 'post',
    path: '/work/:id/cancel',
    tag: 'work',
    roles: ['prepress', 'admin'],
    summary:
      'Cancel work that waits or runs; the reading of a picture takes role admin, and its frame then has no reads',
    params,
    returns: [{ status: 200, description: 'The work', schema: workSchema }],
    problems: ['work-not-found', 'work-state'],
    async handle({ params: { id }, caller }) {
      const work = await workFor({ queue }, caller, id)
      return { json: work.kind === readKind ? await cancelRead({ runs, queue }, work) : await queue.cancel(id) }
    },
  }),
]
