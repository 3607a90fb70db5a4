// Routes of codes: reading a picture, and explaining what a text names.
import { stat } from 'node:fs/promises'
import path from 'node:path'
import * as z from 'zod'
import { symbologyFits } from '../codes/index.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { roles } from '../people/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

export const codeRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'post',
    path: '/codes/read',
    tag: 'codes',
    roles: ['prepress', 'qa', 'admin'],
    summary: 'All codes in a picture on the server (PNG, JPEG, TIFF)',
    body: z.strictObject({ path: z.string().min(1).max(4_096) }),
    returns: [
      {
        status: 200,
        description: 'Codes',
        schema: z.looseObject({ codes: z.array(z.looseObject({ text: z.string().optional() })) }),
      },
    ],
    problems: ['not-found', 'picture-unreadable', 'picture-too-large'],
    async handle({ body }) {
      if (!path.isAbsolute(body.path))
        throw new Problem('bad-request', 'the path is not absolute', { pointer: '/path', measured: body.path })
      const found = await stat(body.path).catch(() => undefined)
      if (!found?.isFile()) throw new Problem('not-found', `there is no file ${body.path}`, { file: body.path })
      return { json: await parts.readPicture(body.path) }
    },
  }),
  route({
    method: 'get',
    path: '/codes/explain',
    tag: 'codes',
    roles,
    summary: 'Which published jobs take a text as theirs, and what it names',
    query: z.object({ text: z.string().min(1).max(limits.codeBytesMax), symbology: z.string().max(8).optional() }),
    returns: [
      {
        status: 200,
        description: 'Matches',
        schema: z.object({ matches: z.array(z.looseObject({ job: z.string() })) }),
      },
    ],
    problems: [],
    async handle({ query }) {
      const matches = [...parts.catalogue.current().jobs.values()].flatMap((job) => {
        const named = symbologyFits(job.rule.symbologies, query.symbology)
          ? job.rule.match(query.text, query.symbology)
          : undefined
        return named ? [{ job: job.job, ...named, known: job.designs.has(named.design) }] : []
      })
      return { json: { matches } }
    },
  }),
]
