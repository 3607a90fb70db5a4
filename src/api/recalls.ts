// What recalls came to in runs: the answer of a withdrawal, and the route that tells it again afterwards.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import * as z from 'zod'
import { roles } from '../people/index.ts'
import { type RecallList, recallListOf, recallLists } from '../runs/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const count = z.int().min(0)
const label = z.object({
  frame: count,
  cell: z.int().min(1),
  place: count,
  positionMm: z.number(),
  roll: z.string().meta({ description: 'That was unwound' }),
  laid: z.enum(['full', 'part', 'none', 'unknown']).optional().meta({ description: 'Reported; absent: nothing yet' }),
})
const labels = {
  labels: count,
  listed: z.array(label).meta({ description: 'Newest first, at most a thousand' }),
}
const cameTo = {
  revoked: z.object(labels).meta({ description: 'Revoked in time: nothing is laid on them' }),
  passed: z
    .object({
      ...labels,
      reported: z.object({ full: count, part: count, none: count, unknown: count, unreported: count }),
    })
    .meta({ description: 'Answered lay and past their points of no return: expect it on them' }),
}

/** What a withdrawal did to one run. */
export const recalledRunSchema = z
  .object({ runId: z.string(), revoked: z.int(), labels: z.object(cameTo).optional() })
  .meta({ id: 'RecalledRun' })

const recallSchema = z
  .object({
    job: z.string(),
    design: z.string(),
    version: z.int(),
    by: z.string(),
    why: z.string().optional(),
    atMs: z.int(),
    ledgerIndex: count,
    ...cameTo,
  })
  .meta({ id: 'Recall' })

interface RecalledRun {
  readonly runId: string
  readonly revoked: number
  readonly labels?: Pick<RecallList, 'revoked' | 'passed'>
}

/** The runs that a version's recall reached, each with its labels. Lines get their turn between two runs. */
export async function recalledRuns(
  { runs }: Pick<ApiParts, 'runs'>,
  version: { readonly job: string; readonly design: string; readonly version: number },
): Promise<readonly RecalledRun[]> {
  const found: RecalledRun[] = []
  for (const row of await runs.recalled(version)) {
    await turnOfTheLoop()
    const list = recallListOf((await runs.get(row.runId)).state, version)
    found.push(list ? { ...row, labels: { revoked: list.revoked, passed: list.passed } } : row)
  }
  return found
}

export const recallRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/runs/:runId/recalls',
    tag: 'records',
    roles,
    summary: 'The recalls that reached a run: what was revoked, and what had passed its point of no return',
    params: z.object({ runId: z.string().max(200) }),
    returns: [
      {
        status: 200,
        description: 'In order, each with its labels',
        schema: z.object({ recalls: z.array(recallSchema) }),
      },
    ],
    problems: ['run-not-found'],
    handle: async ({ params }) => ({
      json: { recalls: recallLists((await parts.runs.get(params.runId)).state) },
    }),
  }),
]
