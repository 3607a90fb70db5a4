// Routes of the roll record: the record itself, finished rolls, reconciliation, pull list and make-good list.
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import type { Response } from 'express'
import * as z from 'zod'
import {
  forecastOf,
  openRollRecord,
  type PullRow,
  pullListCsv,
  type RollRecord,
  recordHtml,
  recordPdf,
  reportCsv,
  reportRun,
} from '../runs/index.ts'
import type { ApiParts } from './parts.ts'
import { finishedSchema, makeGoodSchema, pullListSchema, reconciliationSchema } from './record-schemas.ts'
import { type Reply, type Route, route } from './route.ts'

const runParams = z.object({ runId: z.string().max(200) })
const readers = ['line', 'qa', 'admin'] as const

async function send(
  response: Response,
  mediaType: string,
  content: AsyncIterable<string | Uint8Array>,
): Promise<Reply> {
  response.setHeader('content-type', mediaType)
  await pipeline(Readable.from(content), response)
  return 'sent'
}

const csvType = 'text/csv; charset=utf-8'

async function openRecord(parts: ApiParts, runId: string): Promise<RollRecord> {
  return openRollRecord(parts, await parts.runs.get(runId))
}

const reportRoute = (parts: ApiParts): Route =>
  route({
    method: 'get',
    path: '/runs/:runId/report',
    tag: 'records',
    roles: readers,
    summary: 'The roll record: JSON, CSV (a row a label), one HTML page, or PDF',
    params: runParams,
    query: z.object({ format: z.enum(['json', 'csv', 'html', 'pdf']).default('json') }),
    returns: [
      { status: 200, description: 'The record', schema: z.looseObject({ runId: z.string() }) },
      { status: 200, description: 'A row a label', mediaType: 'text/csv' },
      { status: 200, description: 'One page', mediaType: 'text/html' },
      { status: 200, description: 'A4 pages', mediaType: 'application/pdf' },
    ],
    problems: ['run-not-found'],
    async handle({ params, query, response }): Promise<Reply> {
      const run = await parts.runs.get(params.runId)
      if (query.format === 'csv') return send(response, csvType, reportCsv(parts.database, run))
      if (query.format === 'json') return { json: await reportRun(parts.database, run) }
      const record = await openRollRecord(parts, run)
      const sums = await forecastOf(parts, run)
      if (query.format === 'html')
        return { text: await recordHtml(record, { sums }), mediaType: 'text/html; charset=utf-8' }
      return send(response, 'application/pdf', recordPdf(record, { sums }))
    },
  })

const finishedRoute = (parts: ApiParts): Route =>
  route({
    method: 'get',
    path: '/runs/:runId/finished',
    tag: 'records',
    roles: readers,
    summary: 'Finished rolls as they are wound now, back to what was unwound, with their reconciliation',
    params: runParams,
    returns: [{ status: 200, description: 'Finished rolls', schema: finishedSchema }],
    problems: ['run-not-found'],
    async handle({ params }) {
      const record = await openRecord(parts, params.runId)
      return { json: { runId: params.runId, rethreadings: record.rethreadings, rolls: record.finished() } }
    },
  })

const reconciliationRoute = (parts: ApiParts): Route =>
  route({
    method: 'get',
    path: '/runs/:runId/reconciliation',
    tag: 'records',
    roles: readers,
    summary: 'In = laid + skipped + set-up + spoiled + unaccounted: the run, each finished roll, each design',
    params: runParams,
    returns: [{ status: 200, description: 'Labels by class', schema: reconciliationSchema }],
    problems: ['run-not-found'],
    async handle({ params }) {
      return { json: (await openRecord(parts, params.runId)).reconciliation() }
    },
  })

const pullListRoute = (parts: ApiParts): Route =>
  route({
    method: 'get',
    path: '/runs/:runId/pull-list',
    tag: 'records',
    roles: readers,
    summary: 'Where to stop a finished roll when it is unwound from the outside, and what is wrong there',
    params: runParams,
    query: z.object({
      roll: z.string().max(200).optional().meta({ description: 'A finished roll; absent: all of the run' }),
      rewound: z.enum(['true', 'false']).default('false').meta({
        description: 'As the roll would be after one more rewinding',
      }),
      format: z.enum(['json', 'csv']).default('json'),
    }),
    returns: [
      { status: 200, description: 'Sections', schema: pullListSchema },
      { status: 200, description: 'A row a section', mediaType: 'text/csv' },
    ],
    problems: ['run-not-found', 'roll-unknown'],
    async handle({ params, query, response }): Promise<Reply> {
      const record = await openRecord(parts, params.runId)
      // Before the first byte goes out.
      record.rollsNamed(query.roll)
      const rows = record.pullList({ roll: query.roll, rewound: query.rewound === 'true' })
      if (query.format === 'csv') return send(response, csvType, pullListCsv(rows))
      const sections: PullRow[] = []
      for await (const row of rows) sections.push(row)
      return { json: { runId: params.runId, sections } }
    },
  })

const makeGoodRoute = (parts: ApiParts): Route =>
  route({
    method: 'get',
    path: '/runs/:runId/make-good',
    tag: 'records',
    roles: readers,
    summary: 'Labels to make again: counts as JSON; as CSV a sequence that a ticket can take',
    params: runParams,
    query: z.object({ format: z.enum(['json', 'csv']).default('json') }),
    returns: [
      { status: 200, description: 'Counts, and where labels without a known code were', schema: makeGoodSchema },
      { status: 200, description: 'position, cell, code: a sequence', mediaType: 'text/csv' },
    ],
    problems: ['run-not-found', 'blob-not-found'],
    async handle({ params, query, response }): Promise<Reply> {
      const made = await (await openRecord(parts, params.runId)).makeGood()
      if (query.format === 'csv') return send(response, csvType, made.csv())
      return { json: { runId: params.runId, ...(await made.summary()) } }
    },
  })

export const recordRoutes = (parts: ApiParts): readonly Route[] => [
  reportRoute(parts),
  finishedRoute(parts),
  reconciliationRoute(parts),
  pullListRoute(parts),
  makeGoodRoute(parts),
]
