// Routes of packages and versions: check, publish, release, withdraw, and what is published.
import { randomUUID } from 'node:crypto'
import { createWriteStream } from 'node:fs'
import { readdir, rm, stat } from 'node:fs/promises'
import path from 'node:path'
import { pipeline } from 'node:stream/promises'
import type { Request } from 'express'
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { type JobRecord, previewOf, publishOrder, release, type VersionRecord, withdraw } from '../packages/index.ts'
import { roles } from '../people/index.ts'
import type { WorkItem, WorkOrder } from '../queue/port.ts'
import { reasonedActSchema } from '../runs/index.ts'
import { chunksOf } from './guards.ts'
import type { ApiParts } from './parts.ts'
import { recalledRunSchema, recalledRuns } from './recalls.ts'
import { type Call, type Reply, type Route, route } from './route.ts'
import { workSchema } from './work.ts'

const name = z.string().min(1).max(limits.nameLengthMax)
const version = z.coerce.number().int().min(1)
const versionParams = z.object({ job: name, design: name, version })
const packageParams = z.object({ job: name, package: z.coerce.number().int().min(1) })
const sourceBody = z
  .strictObject({
    path: z.string().min(1).max(4_096).meta({ description: 'Absolute path of a folder or ZIP on the server' }),
  })
  .meta({ id: 'Source' })
const accepted = {
  status: 202,
  description: 'Queued; follow it at /work/{id}, or send Prefer: wait=<seconds>',
  schema: workSchema,
}

interface Source {
  readonly path: string
  readonly identity: string
  readonly removeSource: boolean
}

// Counts what passes, so that an upload without a declared length is cut off at the limit too.
async function* measured(request: Request): AsyncGenerator<Buffer> {
  let bytes = 0
  for await (const chunk of chunksOf(request)) {
    bytes += chunk.length
    if (bytes > limits.packageUploadBytesMax) {
      throw new Problem('body-too-large', 'the upload is too large; use the watched folder', {
        measured: bytes,
        limit: limits.packageUploadBytesMax,
      })
    }
    yield chunk
  }
}

const uploadPattern = /^(upload-.*\.zip|sequence-.*\.csv)$/
const worksKeptMax = 100_000

/** Removes uploads that no work is waiting for: those under way when the process died. Called before the server listens. */
export async function clearUploads({ spoolFolder, queue }: Pick<ApiParts, 'spoolFolder' | 'queue'>): Promise<void> {
  const uploads = (await readdir(spoolFolder)).filter((file) => uploadPattern.test(file))
  if (uploads.length === 0) return
  const works = await queue.list({ count: worksKeptMax })
  const wanted = new Set(
    works
      .filter(({ state }) => state !== 'done' && state !== 'cancelled')
      .map(({ payload }) => (payload as { path?: string }).path),
  )
  for (const file of uploads.map((upload) => path.join(spoolFolder, upload))) {
    if (!wanted.has(file)) await rm(file, { force: true })
  }
}

/** A ZIP in the body goes to the spool; a path is looked at where it is. */
async function sourceOf(
  parts: ApiParts,
  { request, admitAgain, body }: Call<unknown, unknown, { path: string } | undefined>,
): Promise<Source> {
  if (body) {
    if (!path.isAbsolute(body.path))
      throw new Problem('bad-request', 'the path is not absolute', { pointer: '/path', measured: body.path })
    const found = await stat(body.path).catch(() => undefined)
    if (!found) throw new Problem('not-found', `there is no folder or ZIP at ${body.path}`, { file: body.path })
    return { path: body.path, identity: `${found.size}:${found.mtimeMs}:${randomUUID()}`, removeSource: false }
  }
  const file = path.join(parts.spoolFolder, `upload-${randomUUID()}.zip`)
  try {
    await pipeline(measured(request), createWriteStream(file, { flags: 'wx' }))
    await admitAgain()
  } catch (error) {
    await rm(file, { force: true })
    throw error
  }
  return { path: file, identity: randomUUID(), removeSource: true }
}

/** RFC 7240 `wait`: how long the caller would wait for the end of the work. */
function waitMs(request: Request): number {
  const found = /(?:^|[,;\s])wait=(\d{1,4})/.exec(request.headers.prefer?.toString() ?? '')
  return found ? Math.min(Number(found[1]), 600) * 1_000 : 0
}

// Enqueues, and where asked waits; the end is answered as what it is, a problem with the problem's own status.
export async function enqueue(parts: ApiParts, request: Request, order: WorkOrder): Promise<Reply> {
  const queued = await parts.queue.enqueue(order)
  const location = `/api/v1/work/${encodeURIComponent(queued.id)}`
  const wait = waitMs(request)
  if (wait === 0) return { status: 202, json: queued, headers: { location } }
  const work = await parts.queue.ended(queued.id, AbortSignal.timeout(wait)).catch((): WorkItem => queued)
  if (work.state === 'dead') throw problemOf(work)
  return { status: work.state === 'done' ? 200 : 202, json: work, headers: { location } }
}

function problemOf(work: WorkItem): Problem {
  const {
    code = 'internal',
    detail = 'the work failed',
    findings = [],
  } = (work.error ?? {}) as Partial<Problem> & { detail?: string }
  return new Problem(code, detail, { findings })
}

function publishRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'post',
      path: '/packages/check',
      tag: 'packages',
      roles: ['prepress', 'admin'],
      summary: 'Check a package (ZIP body, or a path on the server); nothing is stored',
      body: sourceBody,
      rawBody: ['application/zip'],
      returns: [
        accepted,
        { status: 200, description: 'With Prefer: wait; the work with the report', schema: workSchema },
      ],
      problems: ['wrong-media-type', 'body-too-large', 'not-found', 'package-refused'],
      async handle(call) {
        const source = await sourceOf(parts, call)
        return enqueue(parts, call.request, {
          id: `check-${randomUUID()}`,
          kind: 'check',
          payload: source,
          attemptsMax: 2,
        })
      },
    }),
    route({
      method: 'post',
      path: '/packages',
      tag: 'packages',
      roles: ['prepress', 'admin'],
      act: 'plain',
      summary: 'Check and publish a package (ZIP body, or a path on the server) in one atomic step',
      query: z.object({ by: name }),
      body: sourceBody,
      rawBody: ['application/zip'],
      returns: [
        accepted,
        { status: 200, description: 'With Prefer: wait; the work with its result', schema: workSchema },
      ],
      problems: ['wrong-media-type', 'body-too-large', 'not-found', 'package-refused', 'data-full'],
      async handle(call) {
        const source = await sourceOf(parts, call)
        return enqueue(parts, call.request, publishOrder({ ...source, by: call.query.by }))
      },
    }),
  ]
}

function releaseRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'post',
      path: '/packages/:job/:package/release',
      tag: 'versions',
      roles: ['prepress', 'admin'],
      act: 'release',
      summary: 'Release all versions that a package carries',
      params: packageParams,
      body: reasonedActSchema,
      returns: [
        {
          status: 200,
          description: 'Versions released',
          schema: z.object({ released: z.array(z.looseObject({ design: z.string() })) }),
        },
      ],
      problems: ['package-not-found', 'version-state'],
      async handle({ params, body, signed }) {
        const what = { package: params.package }
        const { versions } = await release(parts, { job: params.job, what, ...body, ...signed })
        return { json: { released: versions } }
      },
    }),
    route({
      method: 'post',
      path: '/jobs/:job/designs/:design/versions/:version/release',
      tag: 'versions',
      roles: ['prepress', 'admin'],
      act: 'release',
      summary: 'Release one version of a design',
      params: versionParams,
      body: reasonedActSchema,
      returns: [
        {
          status: 200,
          description: 'Versions released',
          schema: z.object({ released: z.array(z.looseObject({ design: z.string() })) }),
        },
      ],
      problems: ['version-not-found', 'version-state'],
      async handle({ params: { job, ...what }, body, signed }) {
        const { versions } = await release(parts, { job, what, ...body, ...signed })
        return { json: { released: versions } }
      },
    }),
  ]
}

function withdrawRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'post',
      path: '/jobs/:job/designs/:design/versions/:version/withdraw',
      tag: 'versions',
      roles: ['prepress', 'qa', 'admin'],
      act: 'withdraw',
      summary: 'Recall a version for good: open runs revoke what can still be kept off the web and ask for one stop',
      params: versionParams,
      body: reasonedActSchema,
      returns: [
        {
          status: 200,
          description: 'What the recall did to open runs',
          schema: z.object({ outcome: z.string(), runs: z.array(recalledRunSchema) }),
        },
      ],
      problems: ['version-not-found'],
      async handle({ params, body, signed }) {
        const { outcome } = await withdraw(parts, { ...params, ...body, ...signed })
        return { json: { outcome, runs: await recalledRuns(parts, params) } }
      },
    }),
  ]
}

const versionView = ({
  digest,
  state,
  printVersions,
  packages,
  layers,
  version: number,
  releasedAtMs,
  withdrawnAtMs,
}: VersionRecord) => ({
  version: number,
  state,
  digest,
  printVersions,
  packages,
  ...(releasedAtMs === undefined ? {} : { releasedAtMs }),
  ...(withdrawnAtMs === undefined ? {} : { withdrawnAtMs }),
  layers,
})

const jobView = (job: JobRecord) => ({
  job: job.job,
  title: job.title,
  code: job.code,
  frame: job.frame,
  packages: job.packages,
  designs: [...job.designs].map(([design, versions]) => ({ design, versions: versions.map(versionView) })),
})

const jobRow = ({ job, title, packages, designs }: JobRecord) => ({
  job,
  title,
  packages: packages.map((row) => row.package),
  designs: designs.size,
})

function jobOf(parts: ApiParts, job: string): JobRecord {
  const record = parts.catalogue.current().jobs.get(job)
  if (!record) throw new Problem('package-not-found', `no package of ${job} is published`)
  return record
}

function viewRoutes(parts: ApiParts): Route[] {
  return [
    route({
      method: 'get',
      path: '/jobs',
      tag: 'packages',
      roles: ['prepress', 'qa', 'admin'],
      summary: 'Published jobs',
      returns: [
        { status: 200, description: 'Jobs', schema: z.object({ jobs: z.array(z.looseObject({ job: z.string() })) }) },
      ],
      problems: [],
      async handle() {
        return { json: { jobs: [...parts.catalogue.current().jobs.values()].map(jobRow) } }
      },
    }),
    route({
      method: 'get',
      path: '/jobs/:job',
      tag: 'packages',
      roles: ['prepress', 'qa', 'admin'],
      summary: 'A job with its designs, versions and layers',
      params: z.object({ job: name }),
      returns: [{ status: 200, description: 'The job', schema: z.looseObject({ job: z.string() }) }],
      problems: ['package-not-found'],
      handle: async ({ params }) => ({ json: jobView(jobOf(parts, params.job)) }),
    }),
    route({
      method: 'get',
      path: '/packages/:job/:package',
      tag: 'packages',
      roles: ['prepress', 'qa', 'admin'],
      summary: 'What the check found out about a published package: coverage, varnish, lines, heights',
      params: packageParams,
      returns: [{ status: 200, description: 'Facts', schema: z.looseObject({ job: z.string() }) }],
      problems: ['package-not-found'],
      async handle({ params }) {
        const row = await parts.database.catalogue
          .selectFrom('packages')
          .selectAll()
          .where('job', '=', params.job)
          .where('package', '=', params.package)
          .executeTakeFirst()
        if (!row) throw new Problem('package-not-found', `package ${params.package} of ${params.job} is not published`)
        return { json: { ...row, manifest: JSON.parse(row.manifest), report: JSON.parse(row.report) } }
      },
    }),
    route({
      method: 'get',
      path: '/jobs/:job/designs/:design/versions/:version/preview',
      tag: 'packages',
      roles,
      summary: 'A small picture of a version (PNG); 404 until it is drawn',
      params: versionParams,
      returns: [{ status: 200, description: 'The picture', mediaType: 'image/png' }],
      problems: ['package-not-found', 'version-not-found', 'not-found'],
      async handle({ params, response }) {
        const known = jobOf(parts, params.job).designs.get(params.design)
        if (!known?.some((row) => row.version === params.version))
          throw new Problem('version-not-found', `version ${params.version} of ${params.design} is not published`)
        const digest = await previewOf(parts.database, params)
        if (!digest) throw new Problem('not-found', 'the preview is not drawn yet')
        response.setHeader('content-type', 'image/png')
        response.setHeader('cache-control', 'private, max-age=31536000, immutable')
        response.end(await parts.blobs.read(digest))
        return 'sent'
      },
    }),
  ]
}

export const packageRoutes = (parts: ApiParts): readonly Route[] => [
  ...publishRoutes(parts),
  ...releaseRoutes(parts),
  ...withdrawRoutes(parts),
  ...viewRoutes(parts),
]
