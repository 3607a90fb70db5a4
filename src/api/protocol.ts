// Routes of the line's protocol: frame events and pictures in, answers and laid reports.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import {
  answerSchema,
  captureMediaTypes,
  frameEventsSchema,
  laidReportsSchema,
  revocationSchema,
  toUm,
} from '../runs/index.ts'
import { mediaTypeOf, readBody } from './guards.ts'
import type { ApiParts } from './parts.ts'
import { type Reply, type Route, route } from './route.ts'

const runParams = z.object({ runId: z.string().max(200) })
const frameNumber = z.coerce.number().int().min(0).max(Number.MAX_SAFE_INTEGER)

const outcomeSchema = z
  .object({
    accepted: z.int(),
    answers: z.array(answerSchema),
    pending: z.array(z.int()).meta({ description: 'Frames whose pictures are not read yet' }),
    cursor: z.int().meta({ description: 'Poll answers from here for what is pending' }),
  })
  .meta({ id: 'FramesOutcome' })

const answersSchema = z
  .object({
    answers: z.array(answerSchema),
    revocations: z.array(revocationSchema),
    cursor: z.int(),
    state: z.string(),
  })
  .meta({ id: 'AnswersPage' })

function eventRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'post',
      path: '/runs/:runId/frames',
      tag: 'line',
      roles: ['line', 'admin'],
      summary: 'Take one or many frame events; answers come back when they are durable',
      params: runParams,
      body: frameEventsSchema,
      returns: [{ status: 200, description: 'Answers to the frames given', schema: outcomeSchema }],
      problems: [
        'run-not-found',
        'run-state',
        'frame-conflict',
        'frame-order',
        'frame-leap',
        'frame-on-rest',
        'cell-unknown',
        'ledger-unavailable',
        'data-full',
      ],
      async handle({ params, body }) {
        const run = await parts.runs.get(params.runId)
        const started = parts.clock.monotonicMs()
        const outcome = await run.frames(Array.isArray(body) ? body : [body])
        parts.metrics.answered(parts.clock.monotonicMs() - started)
        return { json: outcome }
      },
    }),
    route({
      method: 'post',
      path: '/runs/:runId/captures',
      tag: 'line',
      roles: ['line', 'admin'],
      summary: 'Take a picture of all lanes of a frame; its labels are pending until it is read',
      params: runParams,
      query: z.object({
        frame: frameNumber,
        positionMm: z.coerce.number().min(-limits.positionMmMax).max(limits.positionMmMax),
      }),
      rawBody: captureMediaTypes,
      returns: [{ status: 202, description: 'The frame is recorded', schema: outcomeSchema }],
      problems: [
        'run-not-found',
        'run-state',
        'frame-conflict',
        'frame-order',
        'frame-leap',
        'frame-on-rest',
        'body-too-large',
        'wrong-media-type',
        'ledger-unavailable',
      ],
      async handle({ params, query, request, admitAgain }) {
        const run = await parts.runs.get(params.runId)
        const bytes = await readBody(request, limits.captureBytesMax)
        await admitAgain()
        const picture = {
          frame: query.frame,
          positionUm: toUm(query.positionMm),
          bytes,
          mediaType: mediaTypeOf(request),
        }
        return { status: 202, json: await parts.captures.post(run, picture) }
      },
    }),
  ]
}

function answerRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'get',
      path: '/runs/:runId/answers',
      tag: 'line',
      roles: ['line', 'qa', 'admin'],
      summary: 'Durable answers and revocations after a cursor (−1 for all), or all answers of one frame',
      params: runParams,
      query: z.object({
        after: z.coerce.number().int().min(-1).default(-1),
        limit: z.coerce.number().int().min(1).max(limits.answersPerPageMax).default(1_000),
        frame: frameNumber.optional(),
      }),
      returns: [{ status: 200, description: 'A page; go on from its cursor', schema: answersSchema }],
      problems: ['run-not-found', 'not-found'],
      async handle({ params, query }): Promise<Reply> {
        const run = await parts.runs.get(params.runId)
        if (query.frame === undefined) return { json: await run.answersAfter(query.after, query.limit) }
        const answers = (await run.answersOf(query.frame)) ?? []
        return { json: { answers, revocations: [], cursor: query.after, state: run.state.name } }
      },
    }),
    route({
      method: 'post',
      path: '/runs/:runId/laid',
      tag: 'line',
      roles: ['line', 'admin'],
      summary: 'Report what was laid: full, part, none or unknown',
      params: runParams,
      body: laidReportsSchema,
      returns: [{ status: 200, description: 'Recorded', schema: z.object({ accepted: z.int() }) }],
      problems: ['run-not-found', 'run-state', 'label-not-answered', 'laid-conflict', 'cell-unknown'],
      async handle({ params, body }) {
        const run = await parts.runs.get(params.runId)
        return { json: await run.laid(Array.isArray(body) ? body : [body]) }
      },
    }),
  ]
}

/** Routes that a line controller calls. */
export const protocolRoutes = (parts: ApiParts): readonly Route[] => [...eventRoutes(parts), ...answerRoutes(parts)]
