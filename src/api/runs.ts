// Routes of runs: opening, the protocol of the line, named acts, records.
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { readinessCodes } from '../lines/index.ts'
import {
  actSchema,
  clearSchema,
  materialSchema,
  openRunSchema,
  proveSchema,
  type Run,
  reasonedActSchema,
  reportCsv,
  reportHtml,
  reportRun,
  type Sighting,
  toUm,
  traceCode,
} from '../runs/index.ts'
import { ledgerRoutes } from './ledger.ts'
import type { ApiParts } from './parts.ts'
import { protocolRoutes } from './protocol.ts'
import { type Reply, type Route, route } from './route.ts'
import { runView, runViewSchema } from './run-view.ts'

const runParams = z.object({ runId: z.string().max(200) })

const readinessRow = z.object({
  code: z.enum(readinessCodes),
  message: z.string(),
  job: z.string().optional(),
  design: z.string().optional(),
  version: z.int().optional(),
  layer: z.string().optional(),
  measured: z.union([z.string(), z.number()]).optional(),
  limit: z.union([z.string(), z.number()]).optional(),
})
const readinessSchema = z
  .object({ ready: z.boolean(), blockers: z.array(readinessRow), warnings: z.array(readinessRow) })
  .meta({ id: 'Readiness' })

const viewed = { status: 200, description: 'The run after the act', schema: runViewSchema }

// An act on a run: do it, then show the run.
function act<B extends z.ZodType>(row: {
  parts: ApiParts
  path: string
  summary: string
  body: B
  problems: Route['problems']
  perform: (run: Run, body: z.output<B>) => Promise<unknown>
}): Route {
  return route({
    method: 'post',
    path: `/runs/:runId/${row.path}`,
    tag: 'runs',
    summary: row.summary,
    params: runParams,
    body: row.body,
    returns: [viewed],
    problems: ['run-not-found', 'run-state', ...row.problems],
    async handle({ params, body }) {
      const run = await row.parts.runs.get((params as { runId: string }).runId)
      await row.perform(run, body as z.output<B>)
      return { json: runView(run) }
    },
  })
}

function actRoutes(parts: ApiParts): Route[] {
  return [
    act({
      parts,
      path: 'proving',
      summary: 'Start proving, or ask for it again after a re-threading',
      body: actSchema,
      problems: [],
      perform: (run, body) => run.startProving(definite(body)),
    }),
    act({
      parts,
      path: 'prove',
      summary: 'A named person compared embellishment with code on every lane: the run proper begins',
      body: proveSchema,
      problems: ['lanes-not-proved'],
      perform: (run, body) => run.prove(definite(body)),
    }),
    act({
      parts,
      path: 'clear',
      summary: 'A named person looked at a stop: go on, or let the rest of these labels pass without',
      body: clearSchema,
      problems: ['cause-not-open'],
      perform: (run, body) => run.clear(definite(body)),
    }),
    act({
      parts,
      path: 'material',
      summary: 'Record an event of the material: splice, cut-out, re-threading, pitch change, foil',
      body: materialSchema,
      problems: [],
      perform: (run, { positionMm, ...body }) =>
        run.material(definite({ ...body, ...(positionMm !== undefined ? { positionUm: toUm(positionMm) } : {}) })),
    }),
    act({
      parts,
      path: 'close',
      summary: 'End the taking of frames',
      body: actSchema,
      problems: [],
      perform: (run, body) => run.close(definite(body)),
    }),
    act({
      parts,
      path: 'seal',
      summary: 'Seal the closed run under a signed Merkle root; fetch the signed checkpoint afterwards',
      body: actSchema,
      problems: [],
      perform: (run, body) => run.seal(definite(body)),
    }),
    act({
      parts,
      path: 'abort',
      summary: 'Give the run up; its ledger stays',
      body: reasonedActSchema,
      problems: [],
      perform: (run, body) => run.abort(definite(body)),
    }),
  ]
}

/** Drops keys whose value is undefined, which zod's optional fields may carry. */
function definite<T extends object>(value: T): { [K in keyof T]: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(value).filter(([, part]) => part !== undefined)) as never
}

function openRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'get',
      path: '/readiness',
      tag: 'runs',
      summary: 'Whether a ticket may run on a line now: blockers and warnings',
      query: z.object({ ticket: z.string(), line: z.string() }),
      returns: [{ status: 200, description: 'Blockers and warnings', schema: readinessSchema }],
      problems: ['ticket-not-found', 'line-not-found'],
      async handle({ query }) {
        const { ready, blockers, warnings } = await parts.runs.readiness(query)
        return { json: { ready, blockers, warnings } }
      },
    }),
    route({
      method: 'post',
      path: '/runs',
      tag: 'runs',
      summary: 'Open a run on a ready ticket, or with a named override and its reason',
      body: openRunSchema,
      returns: [{ status: 201, description: 'The run, in state ready', schema: runViewSchema }],
      problems: ['ticket-not-found', 'line-not-found', 'not-ready'],
      async handle({ body }) {
        if (body.override && !body.why)
          throw new Problem('bad-request', 'an override needs its reason', { pointer: '/why' })
        const run = await parts.runs.open(body)
        return { status: 201, json: runView(run), headers: { location: `/api/v1/runs/${run.runId}` } }
      },
    }),
    route({
      method: 'get',
      path: '/runs',
      tag: 'runs',
      summary: 'All runs, newest first',
      returns: [
        { status: 200, description: 'Runs', schema: z.object({ runs: z.array(z.looseObject({ runId: z.string() })) }) },
      ],
      problems: [],
      handle: async () => ({ json: { runs: await parts.runs.list() } }),
    }),
    route({
      method: 'get',
      path: '/runs/:runId',
      tag: 'runs',
      summary: 'A run: state, counts, open stops',
      params: runParams,
      returns: [viewed],
      problems: ['run-not-found'],
      handle: async ({ params }) => ({ json: runView(await parts.runs.get(params.runId)) }),
    }),
  ]
}

const tracedSchema = z.object({
  sightings: z.array(z.looseObject({ runId: z.string() })),
  unreadable: z
    .array(z.object({ runId: z.string(), detail: z.string() }))
    .meta({ description: 'Runs whose damaged ledger could not be searched' }),
})

// One damaged ledger must not hide what the others know, and must not go unsaid.
async function traceEverywhere(
  parts: ApiParts,
  code: string,
): Promise<{
  sightings: readonly Sighting[]
  unreadable: readonly { runId: string; detail: string }[]
}> {
  const sightings: Sighting[] = []
  const unreadable: { runId: string; detail: string }[] = []
  for (const { runId } of await parts.runs.list()) {
    try {
      sightings.push(...(await traceCode(parts.database, await parts.runs.get(runId), code)))
    } catch (error) {
      if (!(error instanceof Problem) || error.code !== 'ledger-bad') throw error
      unreadable.push({ runId, detail: error.message })
    }
  }
  return { sightings, unreadable }
}

function recordRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'get',
      path: '/runs/:runId/report',
      tag: 'records',
      summary: 'The roll record: JSON, CSV (a row a label) or one HTML page',
      params: runParams,
      query: z.object({ format: z.enum(['json', 'csv', 'html']).default('json') }),
      returns: [
        { status: 200, description: 'The record', schema: z.looseObject({ runId: z.string() }) },
        { status: 200, description: 'A row a label', mediaType: 'text/csv' },
        { status: 200, description: 'One page', mediaType: 'text/html' },
      ],
      problems: ['run-not-found'],
      async handle({ params, query, response }): Promise<Reply> {
        const run = await parts.runs.get(params.runId)
        if (query.format === 'csv') {
          response.setHeader('content-type', 'text/csv; charset=utf-8')
          await pipeline(Readable.from(reportCsv(parts.database, run)), response)
          return 'sent'
        }
        const report = await reportRun(parts.database, run)
        if (query.format === 'html') return { text: reportHtml(report), mediaType: 'text/html; charset=utf-8' }
        return { json: report }
      },
    }),
    route({
      method: 'get',
      path: '/trace',
      tag: 'records',
      summary: 'Every label that carried a code, over all runs',
      query: z.object({ code: z.string().min(1).max(limits.codeBytesMax) }),
      returns: [{ status: 200, description: 'Sightings', schema: tracedSchema }],
      problems: [],
      handle: async ({ query }) => ({ json: await traceEverywhere(parts, query.code) }),
    }),
  ]
}

export const runRoutes = (parts: ApiParts): readonly Route[] => [
  ...openRoutes(parts),
  ...actRoutes(parts),
  ...protocolRoutes(parts),
  ...recordRoutes(parts),
  ...ledgerRoutes(parts),
]
