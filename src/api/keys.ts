// Routes of keys: made, listed without their secrets, revoked. They ask for a key even where none was made yet: the first one is made
// with the local key of the data directory.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { roles } from '../people/index.ts'
import type { Caller } from './callers.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const name = z.string().trim().min(1).max(limits.nameLengthMax)
const by = name.optional().meta({ description: 'Who does this; absent: whose key it is' })

const orderSchema = z
  .strictObject({
    role: z.enum(roles),
    person: name.optional().meta({ description: 'Makes it a personal key: who acts with it. Absent: a shared one' }),
    line: name.optional().meta({ description: 'Of role line: the only line that the key is good for' }),
    expiresAtMs: z.int().min(0).optional().meta({ description: 'UTC ms; absent: never' }),
    by,
  })
  .meta({ id: 'KeyOrder' })

const recordSchema = z
  .object({
    id: z.string(),
    role: z.enum(roles),
    person: z.string().optional(),
    line: z.string().optional(),
    state: z.enum(['active', 'expired', 'revoked']),
    createdAtMs: z.int(),
    createdBy: z.string(),
    expiresAtMs: z.int().optional(),
    revokedAtMs: z.int().optional(),
    revokedBy: z.string().optional(),
  })
  .meta({ id: 'Key' })

const madeSchema = z
  .object({ record: recordSchema, key: z.string().meta({ description: 'The key itself; it is shown this once' }) })
  .meta({ id: 'KeyMade' })

const access = { roles: ['admin'], keyAlways: true, tag: 'keys' } as const

const nameOf = ({ key }: Caller, by: string | undefined): string => key?.person ?? by ?? `key ${key?.id}`

export const keyRoutes = ({ keys }: ApiParts): readonly Route[] => [
  route({
    ...access,
    method: 'post',
    path: '/keys',
    summary: 'Make a key: of a person, of a line controller, of a program',
    act: 'plain',
    body: orderSchema,
    returns: [{ status: 201, description: 'The key, shown this once', schema: madeSchema }],
    problems: [],
    async handle({ body: { by, ...order }, caller }) {
      const { record, text } = await keys.createKey({ ...order, createdBy: nameOf(caller, by) })
      return { status: 201, json: { record, key: text }, headers: { 'cache-control': 'no-store' } }
    },
  }),
  route({
    ...access,
    method: 'get',
    path: '/keys',
    summary: 'All keys that were ever made, newest first; their secrets are stored nowhere',
    returns: [{ status: 200, description: 'Keys', schema: z.object({ keys: z.array(recordSchema) }) }],
    problems: [],
    handle: async () => ({ json: { keys: keys.listKeys() } }),
  }),
  route({
    ...access,
    method: 'delete',
    path: '/keys/:id',
    summary: 'Revoke a key for good; it is good for nothing from now on',
    params: z.object({ id: z.string().min(1).max(100) }),
    query: z.object({ by }),
    act: 'plain',
    returns: [
      {
        status: 200,
        description: 'Whether it was good until now',
        schema: z.object({ outcome: z.enum(['revoked', 'unchanged']) }),
      },
    ],
    problems: ['key-not-found'],
    handle: async ({ params, query, caller }) => ({ json: await keys.revokeKey(params.id, nameOf(caller, query.by)) }),
  }),
]
