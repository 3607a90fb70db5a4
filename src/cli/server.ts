// How commands reach Rollcall: over HTTP to the server that uses the data directory, or to one started in this process for the
// length of the command. One way of speaking, whichever it is.
import { readFile } from 'node:fs/promises'
import { setTimeout as pause } from 'node:timers/promises'
import { Problem, type ProblemCode, problemTable } from '../kernel/problem.ts'
import { readLocalKey } from '../people/index.ts'
import { dataPaths } from '../storage/index.ts'

export interface RunningServer {
  /** Such as `http://127.0.0.1:7070`. */
  readonly url: string
  close(): Promise<void>
}

export interface ServeOptions {
  readonly dataFolder: string
  /** 0 for any free one; absent: as configured. */
  readonly port?: number
  /** Absent: as configured. */
  readonly host?: string
  /** Whether to watch the intake and capture folders; default true. */
  readonly watch?: boolean
  /** For one command: on loopback only, whatever is configured; default false. */
  readonly private?: boolean
  /** Of the log, which goes to standard error as JSON lines; absent: as configured. */
  readonly logLevel?: string
}

export type StartServer = (options: ServeOptions) => Promise<RunningServer>

export interface Server {
  readonly url: string
  /** Shown with every request; for what is not asked over HTTP. */
  readonly key: string | undefined
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
  const code = body.code && Object.hasOwn(problemTable, body.code) ? (body.code as ProblemCode) : 'internal'
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

const causeOf = (error: unknown): string => {
  const { cause, message } = error as { cause?: { message?: string }; message?: string }
  return cause?.message ?? message ?? String(error)
}

async function jsonOf(response: Response): Promise<never> {
  try {
    return (await response.json()) as never
  } catch (error) {
    throw new Problem('server-unreachable', `${response.url} does not answer as Rollcall does: ${causeOf(error)}`)
  }
}

// A body that ends early is no fault of the command's.
async function* unbroken(body: AsyncIterable<Uint8Array>, url: string): AsyncGenerator<Uint8Array> {
  try {
    yield* body
  } catch (error) {
    throw new Problem('server-unreachable', `the server at ${url} broke off: ${causeOf(error)}`)
  }
}

function unreachable(url: string, error: unknown): Problem {
  const problem = new Problem('server-unreachable', `the server at ${url} does not answer: ${causeOf(error)}`)
  problem.cause = (error as Error).cause
  return problem
}

/** Keys that a command shows: its own, and where an act takes two people the second person's. */
export interface ShownKeys {
  readonly key?: string | undefined
  readonly secondKey?: string | undefined
}

function keyHeaders({ key, secondKey }: ShownKeys): Record<string, string> {
  for (const text of [key, secondKey]) {
    // What no header can hold is no key; saying so here keeps it out of an error of the library.
    if (text !== undefined && !/^[\x21-\x7e]+$/.test(text))
      throw new Problem('usage', 'the key has characters that no key has')
  }
  return {
    ...(key === undefined ? {} : { authorization: `Bearer ${key}` }),
    ...(secondKey === undefined ? {} : { 'rollcall-second-key': secondKey }),
  }
}

/**
 * A client of the HTTP interface at `address`. Refusals are thrown as the `Problem` that the server sent. `onAnswer` is told of each
 * answer, refusals too.
 */
export function connect(
  address: string,
  { onAnswer = () => undefined, ...shown }: ShownKeys & { readonly onAnswer?: () => void } = {},
): Server {
  const url = address.replace(/\/+$/, '')
  const call = async (target: string, init: RequestInit = {}): Promise<Response> => {
    const headers = { ...(init.headers as Record<string, string>), ...keyHeaders(shown) }
    const response = await fetch(`${url}/api/v1${target}`, { ...init, headers }).catch((error) => {
      throw unreachable(url, error)
    })
    onAnswer()
    return checked(response)
  }
  return {
    url,
    key: shown.key,
    get: async (target) => jsonOf(await call(target)),
    async send(method, target, body) {
      const init =
        body === undefined ? {} : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }
      return jsonOf(await call(target, { method, ...init }))
    },
    async upload(target, { bytes, mediaType }) {
      const init = { method: 'POST', headers: { 'content-type': mediaType }, body: bytes as BodyInit, duplex: 'half' }
      return jsonOf(await call(target, init as RequestInit))
    },
    text: async (target) => (await call(target)).text(),
    async stream(target) {
      const { body } = await call(target)
      if (!body) throw new Problem('internal', 'the server sent no body')
      return unbroken(body as AsyncIterable<Uint8Array>, url)
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

const answers = (url: string): Promise<boolean> =>
  fetch(`${url}/healthz`).then(
    (response) => response.ok,
    () => false,
  )

interface Place extends ShownKeys {
  readonly dataFolder: string
  readonly start: StartServer
  readonly url?: string | undefined
}

const triesMax = 12
const pauseMs = 250

interface Reached extends RunningServer {
  /** The local key, where the command shows none of its own. */
  readonly key: string | undefined
  /** Whether the server belongs to another process, and so may go at any time. */
  readonly foreign: boolean
}

/** The key that a command shows: the one it is given, else the local one, which only the data directory's own server may see. */
const keyOf = async ({ key, dataFolder }: Place): Promise<string | undefined> =>
  key ?? (await readLocalKey(dataPaths(dataFolder).keys))

// Another command may hold the directory for a moment, so its server comes and goes while we look.
async function reach(at: Place): Promise<Reached> {
  const { dataFolder, start } = at
  for (let tries = 1; ; tries++) {
    try {
      const own = await start({ dataFolder, port: 0, logLevel: 'warn', watch: false, private: true })
      return { ...own, key: await keyOf(at), foreign: false }
    } catch (error) {
      if (!(error instanceof Problem) || error.code !== 'data-in-use') throw error
      const url = await notedUrl(dataFolder)
      const key = await keyOf(at)
      if (url && (await answers(url))) return { url, key, close: async () => undefined, foreign: true }
      if (tries === triesMax) throw error
      await pause(pauseMs)
    }
  }
}

// Refused before anything was asked: the server that was there has gone, and nothing came of the work yet.
const hasGone = (error: unknown): boolean =>
  error instanceof Problem && (error.cause as NodeJS.ErrnoException | undefined)?.code === 'ECONNREFUSED'

/**
 * Runs `work` against the server at `url`, the data directory's own, or one that lives as long as the work. Problem `data-in-use`
 * when another process holds the directory and answers nothing for three seconds.
 */
export async function withServer<T>(at: Place, work: (server: Server) => Promise<T>): Promise<T> {
  const { secondKey } = at
  if (at.url) {
    const isOwn = (await notedUrl(at.dataFolder)) === at.url.replace(/\/+$/, '')
    return work(connect(at.url, { key: isOwn ? await keyOf(at) : at.key, secondKey }))
  }
  for (;;) {
    const reached = await reach(at)
    let answered = false
    try {
      const onAnswer = (): void => {
        answered = true
      }
      return await work(connect(reached.url, { key: reached.key, secondKey, onAnswer }))
    } catch (error) {
      if (!reached.foreign || answered || !hasGone(error)) throw error
    } finally {
      await reached.close()
    }
  }
}
