// The AsyncAPI document of the line's WebSocket, made of the schemas that both sides check messages by.
import type { Express } from 'express'
import * as z from 'zod'
import { closeCodes, controllerMessages, rollcallMessages, subprotocol } from '../protocol/index.ts'
import { prefix } from './mount.ts'

type Json = Readonly<Record<string, unknown>>
type Side = 'controller' | 'rollcall'

interface Said {
  readonly side: Side
  /** Both sides have heartbeats; here each message has a name of its own. */
  readonly name: string
  readonly schema: z.ZodType
  readonly summary: string
}

const summaries: Readonly<Record<string, string>> = {
  hello: 'The first message: who this is, and the cursor of the last answers received',
  frames: 'Frame events; each may be sent again, and gets the same answers',
  laid: 'What was laid; each report may be sent again',
  bye: 'The controller goes; its run is free for another',
  welcome: 'The run as it is now; answers after the cursor of the hello follow',
  accepted: 'The message with this seq is recorded, durably',
  answers: 'Durable answers and revocations in the order of the ledger; a label is laid on a valid answer only',
  outlook: 'Labels that probably come next, so that their layers can be fetched; nothing may be laid on it',
  state: 'The state of the run or its open stops have changed',
  problem: 'The message with this seq was refused and left nothing; or, without seq, why the connection ends',
  heartbeat: 'This side is there',
}

const saidBy = (side: Side, schemas: Readonly<Record<string, z.ZodType>>): Said[] =>
  Object.entries(schemas).map(([type, schema]) => ({
    side,
    name: type === 'heartbeat' ? `${side}Heartbeat` : type,
    schema,
    summary: summaries[type] ?? type,
  }))

const said: readonly Said[] = [...saidBy('controller', controllerMessages), ...saidBy('rollcall', rollcallMessages)]

/** Draft 7, which AsyncAPI takes as it is; what several messages share stands once, under its own name. */
function schemasOf(messages: readonly Said[]): { own: Map<string, Json>; shared: Json } {
  const shared: Record<string, unknown> = {}
  const own = new Map<string, Json>()
  for (const { name, schema, side } of messages) {
    const made = z.toJSONSchema(schema, { target: 'draft-7', io: side === 'controller' ? 'input' : 'output' })
    const text = JSON.stringify(made).replaceAll('"#/definitions/', '"#/components/schemas/')
    const { definitions, $schema: _, ...rest } = JSON.parse(text) as Json & { definitions?: Json }
    Object.assign(shared, definitions)
    own.set(name, rest)
  }
  return { own, shared }
}

const keysOf = (names: readonly string[], toValue: (name: string) => unknown): Json =>
  Object.fromEntries(names.map((name) => [name, toValue(name)]))

function operations(): Json {
  const channel = { $ref: '#/channels/line' }
  const refs = (names: readonly string[]) => names.map((name) => ({ $ref: `#/channels/line/messages/${name}` }))
  const namesOf = (side: Side) => said.filter((one) => one.side === side).map(({ name }) => name)
  const replies: Readonly<Record<string, readonly string[]>> = {
    hello: ['welcome', 'problem'],
    frames: ['accepted', 'problem'],
    laid: ['accepted', 'problem'],
  }
  const receives = namesOf('controller').map((name) => {
    const reply = replies[name]
    const given = reply ? { reply: { channel, messages: refs(reply) } } : {}
    return [`receive-${name}`, { action: 'receive', channel, messages: refs([name]), ...given }]
  })
  const sends = namesOf('rollcall').map((name) => [`send-${name}`, { action: 'send', channel, messages: refs([name]) }])
  return Object.fromEntries([...receives, ...sends])
}

const closing = Object.entries(closeCodes)
  .map(([name, code]) => `${code} ${name}`)
  .join(', ')

/** Serves the document to anyone, as one of the very server that was asked. */
export function mountAsyncApi(app: Express, version: string): void {
  app.get(`${prefix}/asyncapi.json`, (request, response) => {
    response.json(asyncApiDocument({ version, host: request.headers.host }))
  })
}

/** AsyncAPI 3.0, from the side of Rollcall: it receives what a controller sends. */
function asyncApiDocument({ version, host }: { version: string; host?: string | undefined }): Json {
  const { own, shared } = schemasOf(said)
  const names = said.map(({ name }) => name)
  const messages = Object.fromEntries(
    said.map(({ name, summary }) => [
      name,
      { name, summary, contentType: 'application/json', payload: { $ref: `#/components/schemas/${name}Message` } },
    ]),
  )
  return {
    asyncapi: '3.0.0',
    info: {
      title: 'Rollcall, the line',
      version,
      description: `One WebSocket a run, subprotocol ${subprotocol}; JSON text messages, one object each. Silence means skip: a controller lays nothing without a valid answer. Closed with ${closing}; after a problem with 4000 + its status.`,
    },
    defaultContentType: 'application/json',
    ...(host === undefined
      ? {}
      : { servers: { this: { host, protocol: 'ws', security: [{ $ref: '#/components/securitySchemes/key' }] } } }),
    channels: {
      line: {
        address: '/api/v1/runs/{runId}/line',
        parameters: { runId: { description: 'Of a run that is open' } },
        messages: keysOf(names, (name) => ({ $ref: `#/components/messages/${name}` })),
        bindings: { ws: { method: 'GET', bindingVersion: '0.1.0' } },
      },
    },
    operations: operations(),
    components: {
      messages,
      schemas: { ...shared, ...Object.fromEntries([...own].map(([name, schema]) => [`${name}Message`, schema])) },
      securitySchemes: {
        key: {
          type: 'http',
          scheme: 'bearer',
          description: `A key of role line or admin; where headers cannot be set, as a second subprotocol rollcall.key.<key>`,
        },
      },
    },
  }
}
