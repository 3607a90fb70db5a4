// The messages of the line's protocol over a WebSocket, version 1: one JSON object a message, told apart by `type`. Both sides check
// what they get by these schemas.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { problemTable } from '../kernel/problem.ts'
import { answerSchema, causeSchema, frameEventSchema, laidReportSchema, revocationSchema } from './objects.ts'
import { count, positionMm, textUpTo } from './parts.ts'

export const protocolVersion = 1
/** Value of `Sec-WebSocket-Protocol`. */
export const subprotocol = 'rollcall.line.1'

const cursor = z.int().min(-1).max(Number.MAX_SAFE_INTEGER)
const seq = count.meta({ description: 'Number of the message, chosen by the controller; echoed in the reply to it' })
const atMs = z.int().meta({ description: 'Clock of the sender, ms since 1970 UTC; information only' })

export const runStateNames = ['ready', 'proving', 'open', 'stopped', 'closing', 'sealed', 'aborted'] as const

const openCause = z.strictObject({
  cause: causeSchema,
  frame: count.optional(),
  cell: z.int().min(1).optional(),
})

/** What a controller sends. */
export const controllerMessages = {
  hello: z.strictObject({
    type: z.literal('hello'),
    protocol: z.int().min(1),
    controller: textUpTo(limits.nameLengthMax)
      .min(1)
      .meta({ description: 'Name of the controller; one a run at a time' }),
    after: cursor.meta({ description: 'Cursor of the last answers received; -1 for all' }),
    heartbeatMs: z.int().min(100).max(60_000).optional().meta({ description: 'How often this side will be heard of' }),
    atMs: atMs.optional(),
  }),
  frames: z.strictObject({
    type: z.literal('frames'),
    seq,
    frames: z.array(frameEventSchema).min(1).max(limits.framesPerRequestMax),
  }),
  laid: z.strictObject({
    type: z.literal('laid'),
    seq,
    reports: z.array(laidReportSchema).min(1).max(limits.laidPerRequestMax),
  }),
  heartbeat: z.strictObject({
    type: z.literal('heartbeat'),
    atMs: atMs.optional(),
    positionMm: positionMm.optional().meta({ description: 'Encoder now: what lies between two marks' }),
  }),
  bye: z.strictObject({ type: z.literal('bye') }),
} as const

const problemDetails = z.looseObject({
  type: z.string(),
  title: z.string(),
  status: z.int(),
  code: z.enum(Object.keys(problemTable) as [keyof typeof problemTable, ...(keyof typeof problemTable)[]]),
  detail: z.string(),
})

/** What Rollcall sends. */
export const rollcallMessages = {
  welcome: z.strictObject({
    type: z.literal('welcome'),
    protocol: z.literal(protocolVersion),
    runId: z.string(),
    state: z.enum(runStateNames),
    cursor: cursor.meta({ description: 'Last entry of the ledger now; answers up to it are on their way' }),
    heartbeatMs: z.int(),
    silenceMs: z.int().meta({ description: 'After so long without a message this side closes the connection' }),
    windowFrames: z.int().meta({ description: 'Frames sent and not accepted yet, at most' }),
    pitchMm: z.number(),
    cells: z.array(
      z.strictObject({
        cell: z.int(),
        lane: z.int(),
        row: z.int(),
        noReturnAfterMm: z
          .number()
          .meta({ description: "From a frame's positionMm to the point of no return of its label in this cell" }),
      }),
    ),
    causes: z.array(openCause),
    atMs,
  }),
  accepted: z.strictObject({
    type: z.literal('accepted'),
    seq,
    accepted: count,
    pending: z.array(count).optional().meta({ description: 'Frames that have no answer yet' }),
  }),
  answers: z.strictObject({
    type: z.literal('answers'),
    cursor: cursor.meta({ description: 'Say it in the next hello: answers after it come again' }),
    answers: z.array(answerSchema),
    revocations: z.array(revocationSchema),
  }),
  outlook: z.strictObject({
    type: z.literal('outlook'),
    place: count,
    labels: z.array(
      z.strictObject({
        place: count,
        cell: z.int().min(1),
        job: z.string(),
        design: z.string(),
        version: z.int(),
        layers: z.array(z.string()).meta({ description: 'Digests to have at hand' }),
      }),
    ),
  }),
  state: z.strictObject({
    type: z.literal('state'),
    state: z.enum(runStateNames),
    causes: z.array(openCause),
    by: z.string().optional().meta({ description: 'Who cleared, proved, closed' }),
  }),
  heartbeat: z.strictObject({
    type: z.literal('heartbeat'),
    atMs,
    cursor: cursor.meta({ description: 'All answers up to it were sent before; say it in the next hello' }),
  }),
  problem: z.strictObject({
    type: z.literal('problem'),
    seq: seq.optional().meta({ description: 'Of the message that was refused' }),
    problem: problemDetails,
  }),
} as const

export const controllerMessageSchema = z
  .discriminatedUnion(
    'type',
    Object.values(controllerMessages) as unknown as [
      typeof controllerMessages.hello,
      typeof controllerMessages.frames,
      typeof controllerMessages.laid,
      typeof controllerMessages.heartbeat,
      typeof controllerMessages.bye,
    ],
  )
  .meta({ id: 'ControllerMessage' })

export const rollcallMessageSchema = z
  .discriminatedUnion(
    'type',
    Object.values(rollcallMessages) as unknown as [
      typeof rollcallMessages.welcome,
      typeof rollcallMessages.accepted,
      typeof rollcallMessages.answers,
      typeof rollcallMessages.outlook,
      typeof rollcallMessages.state,
      typeof rollcallMessages.heartbeat,
      typeof rollcallMessages.problem,
    ],
  )
  .meta({ id: 'RollcallMessage' })

export type ControllerMessage = z.infer<typeof controllerMessageSchema>
export type RollcallMessage = z.infer<typeof rollcallMessageSchema>

/** Codes of closing (RFC 6455 §7.4.2, the private range): after a `problem`, 4000 + its status; those below have a meaning of their own. */
export const closeCodes = {
  /** No hello, or one that does not fit. */
  badHello: 4400,
  unauthorized: 4401,
  forbidden: 4403,
  noRun: 4404,
  /** The controller was not heard of for `silenceMs`. */
  silent: 4408,
  /** Another controller has the run. */
  busy: 4409,
  /** The same controller connected anew. */
  replaced: 4410,
  /** It does not read what it is sent. */
  slow: 4413,
  /** Too many messages that could not be read. */
  garbage: 4422,
  shuttingDown: 4503,
} as const
