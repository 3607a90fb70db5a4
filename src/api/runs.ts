// Routes of runs: opening, the protocol of the line, named acts, records.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { type Role, roles } from '../people/index.ts'
import {
  actSchema,
  changeTicketSchema,
  clearSchema,
  materialSchema,
  openRunSchema,
  proveSchema,
  type Run,
  reasonedActSchema,
  type Sighting,
  toMaterial,
  traceCode,
} from '../runs/index.ts'
import { ledgerRoutes } from './ledger.ts'
import type { ApiParts } from './parts.ts'
import { heldTo, maySeeLine, type NamedAct, onlyLine } from './people.ts'
import { protocolRoutes } from './protocol.ts'
import { recallRoutes } from './recalls.ts'
import { recordRoutes } from './records.ts'
import { type Route, route } from './route.ts'
import { runView, runViewSchema } from './run-view.ts'
import { setUpRoutes } from './set-up.ts'

const runParams = z.object({ runId: z.string().max(200) })

const viewed = { status: 200, description: 'The run after the act', schema: runViewSchema }

// An act on a run: do it, then show the run.
function act<B extends z.ZodType>(row: {
  parts: ApiParts
  path: string
  /** What it is as a named act; absent: one that never takes two people. */
  as?: NamedAct
  roles?: readonly Role[]
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
    roles: row.roles ?? ['line', 'admin'],
    act: row.as ?? 'plain',
    params: runParams,
    body: row.body,
    returns: [viewed],
    problems: ['run-not-found', 'run-state', ...row.problems],
    async handle({ params, body, signed }) {
      const run = await row.parts.runs.get((params as { runId: string }).runId)
      await row.perform(run, Object.assign({}, body as z.output<B>, signed))
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
      as: 'prove',
      summary: 'A named person compared embellishment with code on every lane: the run proper begins',
      body: proveSchema,
      problems: ['lanes-not-proved'],
      perform: (run, body) => run.prove(definite(body)),
    }),
    act({
      parts,
      path: 'clear',
      as: 'clear',
      summary: 'A named person looked at a stop: go on, or let the rest of these labels pass without',
      body: clearSchema,
      problems: ['cause-not-open'],
      perform: (run, body) => run.clear(definite(body)),
    }),
    act({
      parts,
      path: 'material',
      summary: 'Record an event of the material, from a splice to a slit, or void one that was recorded wrongly',
      body: materialSchema,
      problems: [
        'material-position',
        'material-not-voidable',
        'roll-name-taken',
        'roll-unknown',
        'slit-lanes',
        'cut-out-overlap',
        'reel-place',
      ],
      perform: (run, body) => run.material(toMaterial(body)),
    }),
    act({
      parts,
      path: 'ticket',
      as: 'open',
      summary: 'Go on with the next ticket from the next frame on, in one run',
      body: changeTicketSchema,
      problems: ['ticket-not-found', 'ticket-needs-new-run', 'not-ready', 'orientation-impossible'],
      perform: (run, body) => parts.runs.changeTicket(run, definite(body)),
    }),
  ]
}

function endingActs(parts: ApiParts): Route[] {
  return [
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
      as: 'seal',
      roles: ['line', 'qa', 'admin'],
      summary: 'Seal the closed run under a signed Merkle root; fetch the signed checkpoint afterwards',
      body: actSchema,
      problems: [],
      perform: (run, body) => run.seal(definite(body)),
    }),
    act({
      parts,
      path: 'abort',
      as: 'abort',
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
      method: 'post',
      path: '/runs',
      tag: 'runs',
      roles: ['line', 'admin'],
      act: 'open',
      summary: 'Open a run on a ready ticket, or with a named override and its reason',
      body: openRunSchema,
      returns: [{ status: 201, description: 'The run, in state ready', schema: runViewSchema }],
      problems: ['ticket-not-found', 'line-not-found', 'not-ready', 'orientation-impossible'],
      async handle({ body, signed }) {
        if (body.override && !body.why)
          throw new Problem('bad-request', 'an override needs its reason', { pointer: '/why' })
        const run = await parts.runs.open(definite({ ...body, ...signed }))
        return { status: 201, json: runView(run), headers: { location: `/api/v1/runs/${run.runId}` } }
      },
    }),
    route({
      method: 'get',
      path: '/runs',
      tag: 'runs',
      roles,
      summary: 'All runs, newest first; with a key of role line those of that line',
      returns: [
        {
          status: 200,
          description: 'Runs',
          schema: z.object({ runs: z.array(z.looseObject({ runId: z.string() })), onlyLine }),
        },
      ],
      problems: [],
      async handle({ caller }) {
        const runs = await parts.runs.list()
        return { json: { runs: runs.filter(({ line }) => maySeeLine(caller, line)), ...heldTo(caller) } }
      },
    }),
    route({
      method: 'get',
      path: '/runs/:runId',
      tag: 'runs',
      roles,
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

function traceRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'get',
      path: '/trace',
      tag: 'records',
      roles: ['qa', 'admin'],
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
  ...endingActs(parts),
  ...setUpRoutes(parts),
  ...protocolRoutes(parts),
  ...recordRoutes(parts),
  ...recallRoutes(parts),
  ...traceRoutes(parts),
  ...ledgerRoutes(parts),
]
