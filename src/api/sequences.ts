// The route of sequences: a CSV from the press, checked as it comes in and stored under its digest.

import { randomUUID } from 'node:crypto'
import { createWriteStream } from 'node:fs'
import { rm } from 'node:fs/promises'
import path from 'node:path'
import { pipeline } from 'node:stream/promises'
import type { Request } from 'express'
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { layoutOf, putSequence } from '../lines/index.ts'
import { chunksOf } from './guards.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const names = z
  .string()
  .max(10_000)
  .transform((text) => text.split(','))
const cellNumbers = z
  .string()
  .max(2_000)
  .regex(/^\d{1,3}(,\d{1,3})*$/)
  .transform((text) => text.split(',').map(Number))

async function* measured(request: Request): AsyncGenerator<Buffer> {
  let bytes = 0
  for await (const chunk of chunksOf(request)) {
    bytes += chunk.length
    if (bytes > limits.sequenceBytesMax) {
      const limit = limits.sequenceBytesMax
      throw new Problem('body-too-large', 'the sequence is too large', { measured: bytes, limit })
    }
    yield chunk
  }
}

// The frame of the first job that is published; readiness refuses tickets whose jobs have several.
function layoutFor({ catalogue }: ApiParts, of: { jobs?: string[] | undefined; cells?: number[] | undefined }) {
  const jobs = catalogue.current().jobs
  const frame = (of.jobs ?? []).map((job) => jobs.get(job)?.frame).find((found) => found !== undefined)
  return frame && layoutOf(frame, of.cells)
}

export const sequenceRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'post',
    path: '/sequences',
    tag: 'tickets',
    roles: ['prepress', 'line', 'admin'],
    summary:
      'Store a sequence (CSV: position, cell, code in printed order); its digest goes into sequence.sha256 of a ticket',
    query: z.object({
      jobs: names
        .optional()
        .meta({ description: 'Of the ticket, with commas between: their cells are the ones known.' }),
      cells: cellNumbers
        .optional()
        .meta({ description: 'On the roll, with commas between; absent: all of the frame.' }),
    }),
    rawBody: ['text/csv'],
    returns: [
      {
        status: 200,
        description: 'Stored',
        schema: z.object({ sha256: z.string(), bytes: z.int(), rows: z.int(), positions: z.int() }),
      },
    ],
    problems: ['sequence-refused', 'body-too-large', 'wrong-media-type', 'data-full'],
    async handle({ query, request, admitAgain }) {
      const file = path.join(parts.spoolFolder, `sequence-${randomUUID()}.csv`)
      try {
        await pipeline(measured(request), createWriteStream(file, { flags: 'wx' }))
        await admitAgain()
        return { json: await putSequence(parts, { path: file, layout: layoutFor(parts, query) }) }
      } finally {
        await rm(file, { force: true })
      }
    },
  }),
]
