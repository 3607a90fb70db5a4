// Routes of a run's ledger. They read what is stored without opening the run, so that a damaged ledger can still be looked at.
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import * as z from 'zod'
import { digestPattern } from '../kernel/bytes.ts'
import { proveEntry } from '../ledger/index.ts'
import { roles } from '../people/index.ts'
import type { LedgerRow } from '../storage/port.ts'
import type { ApiParts } from './parts.ts'
import { type Reply, type Route, route } from './route.ts'

const runParams = z.object({ runId: z.string().max(200) })
const pageRows = 2_000

const lineOf = (row: LedgerRow, withLeaf: boolean): string => {
  const text = Buffer.from(row.bytes).toString('utf8')
  return withLeaf ? `${Buffer.from(row.leaf).toString('hex')} ${text}\n` : `${text}\n`
}

async function* linesOf({ database }: ApiParts, runId: string, withLeaf: boolean): AsyncGenerator<string> {
  for (let from = 0; ; ) {
    const rows = await database.readLedger({ runId, from, count: pageRows })
    if (rows.length > 0) yield rows.map((row) => lineOf(row, withLeaf)).join('')
    from += rows.length
    if (rows.length < pageRows) return
  }
}

/** Routes for the entries, the committed heads and the signed checkpoint of a run. */
export const ledgerRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/runs/:runId/ledger',
    tag: 'records',
    roles: ['line', 'qa', 'admin'],
    summary: 'The ledger as it was hashed: one entry a line; with=leaf puts the stored leaf hash and a space before it',
    params: runParams,
    query: z.object({ with: z.literal('leaf').optional() }),
    returns: [{ status: 200, description: 'RFC 8785 JSON, one entry a line', mediaType: 'application/x-ndjson' }],
    problems: ['run-not-found'],
    async handle({ params, query, response }): Promise<Reply> {
      await parts.runs.demandKnown(params.runId)
      response.setHeader('content-type', 'application/x-ndjson')
      await pipeline(Readable.from(linesOf(parts, params.runId, query.with === 'leaf')), response)
      return 'sent'
    },
  }),
  route({
    method: 'get',
    path: '/runs/:runId/heads',
    tag: 'records',
    roles: ['line', 'qa', 'admin'],
    summary: 'Every head that a commit left: tree size and root',
    params: runParams,
    returns: [
      {
        status: 200,
        description: 'Oldest first',
        schema: z.object({ heads: z.array(z.object({ treeSize: z.int(), root: z.string().regex(digestPattern) })) }),
      },
    ],
    problems: ['run-not-found'],
    async handle({ params }) {
      await parts.runs.demandKnown(params.runId)
      return { json: { heads: await parts.database.ledgerHeads(params.runId) } }
    },
  }),
  route({
    method: 'get',
    path: '/runs/:runId/checkpoint',
    tag: 'records',
    roles: ['line', 'qa', 'admin'],
    summary: 'A signed checkpoint of the ledger as it is now: keep it elsewhere as a witness',
    params: runParams,
    returns: [{ status: 200, description: 'C2SP tlog-checkpoint text', mediaType: 'text/plain' }],
    problems: ['run-not-found'],
    async handle({ params }): Promise<Reply> {
      await parts.runs.demandKnown(params.runId)
      return { text: await parts.checkpoint(params.runId), mediaType: 'text/plain; charset=utf-8' }
    },
  }),
  route({
    method: 'get',
    path: '/runs/:runId/entries/:index/proof',
    tag: 'records',
    roles: ['line', 'qa', 'admin'],
    summary: 'An entry with the proof that it lies in the tree as it is now (RFC 9162 inclusion proof)',
    params: runParams.extend({ index: z.coerce.number().int().min(0).max(Number.MAX_SAFE_INTEGER) }),
    returns: [
      {
        status: 200,
        description: 'The entry as it was hashed, the path from its leaf to the root, in hex',
        schema: z.object({
          entry: z.string(),
          index: z.int(),
          leaf: z.string(),
          treeSize: z.int(),
          root: z.string(),
          path: z.array(z.string()),
        }),
      },
    ],
    problems: ['run-not-found', 'not-found', 'ledger-bad'],
    async handle({ params: { runId, index } }) {
      await parts.runs.demandKnown(runId)
      const { bytes, ...proof } = await proveEntry(parts.database, { runId, index })
      return { json: { ...proof, entry: Buffer.from(bytes).toString('utf8') } }
    },
  }),
  route({
    method: 'get',
    path: '/key',
    tag: 'records',
    roles,
    summary: "The installation's public key, as a verifier takes it",
    returns: [{ status: 200, description: 'name+keyId+base64', mediaType: 'text/plain' }],
    problems: [],
    handle: async () => ({ text: `${parts.verifierKey}\n`, mediaType: 'text/plain; charset=utf-8' }),
  }),
]
