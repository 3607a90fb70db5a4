// How commands reach Rollcall: over HTTP to the server that uses the data directory, or to one started in this process for the
// length of the command. One way of speaking, whichever it is.
import { readFile } from 'node:fs/promises'
import { Problem, type ProblemCode, problemTable } from '../kernel/problem.ts'
import { dataPaths } from '../storage/index.ts'

export interface RunningServer {
  /** Such as `http://127.0.0.1:7070`. */
  readonly url: string
  close(): Promise<void>
}

export interface ServeOptions {
  readonly dataFolder: string
  /** 0 for any free one. */
  readonly port: number
  readonly host?: string
  /** Whether to watch the intake and capture folders; default true. */
  readonly watch?: boolean
  /** Log to standard error as JSON lines. */
  readonly logLevel: string
}

export type StartServer = (options: ServeOptions) => Promise<RunningServer>

export interface Server {
  readonly url: string
  get<T>(path: string): Promise<T>
  send<T>(method: 'POST' | 'PUT' | 'DELETE', path: string, body?: unknown): Promise<T>
  upload<T>(path: string, body: { bytes: Uint8Array | ReadableStream; mediaType: string }): Promise<T>
  /** The body as text, for records. */
  text(path: string): Promise<string>
  /** The body as it comes, for long records. */
  stream(path: string): Promise<AsyncIterable<Uint8Array>>
}

async function checked(response: Response): Promise<Response> {
  if (response.ok) return response
  const body = (await response.json().catch(() => ({}))) as Partial<{ code: string; detail: string; findings: never[] }>
  const code = body.code && body.code in problemTable ? (body.code as ProblemCode) : 'internal'
  const { detail, findings, ...place } = body as { detail?: string; findings?: never[] } & Record<string, never>
  const {
    type: _t,
    title: _i,
    status: _s,
    code: _c,
    retry: _r,
    instance: _n,
    ...rest
  } = place as Record<string, unknown>
  throw new Problem(code, detail ?? `the server answered ${response.status}`, { ...rest, findings: findings ?? [] })
}

/** A client of the HTTP interface at `url`. Refusals are thrown as the `Problem` that the server sent. */
export function connect(url: string): Server {
  const call = async (target: string, init: RequestInit = {}): Promise<Response> => {
    const response = await fetch(`${url}/api/v1${target}`, init).catch((error) => {
      throw new Problem(
        'server-unreachable',
        `the server at ${url} does not answer: ${error.cause?.message ?? error.message}`,
      )
    })
    return checked(response)
  }
  return {
    url,
    get: async (target) => (await call(target)).json() as never,
    async send(method, target, body) {
      const init =
        body === undefined ? {} : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }
      return (await call(target, { method, ...init })).json() as never
    },
    async upload(target, { bytes, mediaType }) {
      const init = { method: 'POST', headers: { 'content-type': mediaType }, body: bytes as BodyInit, duplex: 'half' }
      return (await call(target, init as RequestInit)).json() as never
    },
    text: async (target) => (await call(target)).text(),
    async stream(target) {
      const { body } = await call(target)
      if (!body) throw new Problem('internal', 'the server sent no body')
      return body as AsyncIterable<Uint8Array>
    },
  }
}

/** The address that a server noted in its data directory. */
async function notedUrl(dataFolder: string): Promise<string | undefined> {
  try {
    const noted = JSON.parse(await readFile(dataPaths(dataFolder).server, 'utf8')) as { url?: string }
    return noted.url
  } catch {
    return undefined
  }
}

/** Runs `work` against the data directory's server, or against one that lives as long as the work. */
export async function withServer<T>(
  at: { readonly dataFolder: string; readonly start: StartServer; readonly url?: string | undefined },
  work: (server: Server) => Promise<T>,
): Promise<T> {
  if (at.url) return work(connect(at.url))
  let started: RunningServer
  try {
    started = await at.start({ dataFolder: at.dataFolder, port: 0, logLevel: 'warn', watch: false })
  } catch (error) {
    if (!(error instanceof Problem) || error.code !== 'data-in-use') throw error
    const url = await notedUrl(at.dataFolder)
    if (!url) throw error
    return work(connect(url))
  }
  try {
    return await work(connect(started.url))
  } finally {
    await started.close()
  }
}
