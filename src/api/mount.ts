// From the table of routes to express: validate, call, reply; every refusal leaves as RFC 9457 problem details.
import type { ErrorRequestHandler, Express, Request, RequestHandler, Response } from 'express'
import type { Logger } from 'pino'
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { type Finding, Problem, toProblemDetails } from '../kernel/problem.ts'
import { firstOf, schemaFindings } from '../kernel/schema-findings.ts'
import type { Caller, Gate } from './callers.ts'
import { mediaTypeOf, parseJson, readBody } from './guards.ts'
import type { ApiParts } from './parts.ts'
import { demandOwnLine, demandOwnName, openLineOfRun, signatureOf, withPerson } from './people.ts'
import type { Reply, Route } from './route.ts'

export const prefix = '/api/v1'

const findingsMax = 100

// Only personal keys fill in who acts.
const unnamed = (finding: Finding): Finding =>
  finding.pointer === '/by' && finding.message === 'is missing'
    ? { ...finding, message: 'is missing: name who acts, or show a key that was made for a person by name' }
    : finding

function validate(schema: z.ZodType, value: unknown, part: string): unknown {
  const parsed = schema.safeParse(value)
  if (parsed.success) return parsed.data
  const findings = schemaFindings(parsed.error, value, 'bad-request').slice(0, findingsMax).map(unnamed)
  throw new Problem('bad-request', `the ${part} does not fit: ${firstOf(findings)}`, { findings })
}

/** Where a route takes who acts in its query, since its body may be a file. */
const namedInQuery = ({ query }: Route): boolean => query !== undefined && 'by' in query.shape

// An empty parameter is none: read as a number it would be 0. An unknown name is refused, since it is most often a slip of the pen.
function validQuery(route: Route, request: Request, caller: Caller): unknown {
  const texts = Object.entries(request.query).filter(([, text]) => typeof text !== 'string' || text.trim() !== '')
  const given = Object.fromEntries(texts)
  const query = route.query ?? z.object({})
  return validate(query.strict(), namedInQuery(route) ? withPerson(caller, given) : given, 'query')
}

async function bodyOf(route: Route, request: Request, caller: Caller): Promise<unknown> {
  const media = mediaTypeOf(request)
  if (route.rawBody?.includes(media)) return undefined
  const takes = [...(route.body ? ['application/json'] : []), ...(route.rawBody ?? [])]
  if (takes.length === 0) return undefined
  if (!route.body || media !== 'application/json') {
    throw new Problem('wrong-media-type', `this route takes ${takes.join(', ')}`, {
      measured: media || 'none',
      limit: takes.join(', '),
    })
  }
  const text = (await readBody(request, limits.jsonBodyBytesMax)).toString('utf8')
  const given = parseJson(text)
  return validate(route.body, route.act && !namedInQuery(route) ? withPerson(caller, given) : given, 'body')
}

function send(response: Response, reply: Exclude<Reply, 'sent'>): void {
  response.status(reply.status ?? 200)
  for (const [name, value] of Object.entries(reply.headers ?? {})) response.setHeader(name, value)
  if ('json' in reply) {
    response.setHeader('content-type', 'application/json; charset=utf-8')
    response.end(JSON.stringify(reply.json))
    return
  }
  response.setHeader('content-type', reply.mediaType)
  response.end(reply.text)
}

const unsigned = {}

// In this order: a stranger's body is not read, a line's key learns nothing of what is not its own, and a key that ends while the body is
// on its way does nothing any more.
function handlerOf(route: Route, { parts, gate }: Mounting): RequestHandler {
  const lineOfRun = openLineOfRun(parts)
  return async (request, response) => {
    const admit = (): Promise<Caller> => gate.admit(route, { request, response })
    const caller = await admit()
    const params = route.params ? validate(route.params, request.params, 'path') : request.params
    const query = validQuery(route, request, caller)
    await demandOwnLine(caller, { params, query }, lineOfRun)
    const body = await bodyOf(route, request, caller)
    const asked = { params, query, body }
    await demandOwnLine(caller, asked, lineOfRun)
    demandOwnName(caller, asked)
    const signed = route.act ? await signatureOf(parts, { caller, act: route.act, asked }) : unsigned
    await admit()
    const reply = await route.handle({ ...asked, caller, signed, admitAgain: admit, request, response } as never)
    if (reply !== 'sent') send(response, reply)
  }
}

interface Mounting {
  readonly parts: Pick<ApiParts, 'runs' | 'database' | 'policy' | 'keys'>
  readonly gate: Gate
}

/** Mounts routes below the prefix; a known path with another method is `method-not-allowed` (RFC 9110 §15.5.6, with Allow). */
export function mountRoutes(app: Express, routes: readonly Route[], mounting: Mounting): void {
  const methods = new Map<string, string[]>()
  for (const row of routes) {
    app[row.method](`${prefix}${row.path}`, handlerOf(row, mounting))
    methods.set(row.path, [...(methods.get(row.path) ?? []), row.method.toUpperCase()])
  }
  for (const [path, allowed] of methods) {
    app.all(`${prefix}${path}`, (request, response) => {
      response.setHeader('allow', allowed.join(', '))
      throw new Problem('method-not-allowed', `${request.method} is not for this path; use ${allowed.join(', ')}`, {
        measured: request.method,
      })
    })
  }
}

const discardMs = 2_000

// The rest of a refused upload is thrown away for a while: closing at once would take the refusal with it (RFC 9112 §9.6).
function discardRest(request: Request): void {
  request.resume()
  const end = setTimeout(() => {
    if (!request.complete) request.socket.destroy()
  }, discardMs)
  end.unref()
}

/** Anything thrown becomes problem details; what is no `Problem` is a fault of ours and is logged whole. */
export function problemMapper(log: Logger): ErrorRequestHandler {
  return (error, request, response, _next) => {
    // The caller went away while a long answer was sent.
    if (error?.code === 'ERR_STREAM_PREMATURE_CLOSE') return
    const problem = asProblem(error)
    if (problem.code === 'internal')
      log.error({ err: error, method: request.method, url: request.url }, 'a request failed')
    if (response.headersSent) {
      response.destroy()
      return
    }
    const details = toProblemDetails(problem)
    response.status(details.status)
    response.setHeader('content-type', 'application/problem+json')
    if (!request.complete) discardRest(request)
    response.end(JSON.stringify({ ...details, instance: request.originalUrl.split('?')[0] }))
  }
}

/** What was thrown, as a problem; what is none is a fault of ours. */
export function asProblem(error: unknown): Problem {
  if (error instanceof Problem) return error
  const { status, message, code } = error as { status?: number; message?: string; code?: string }
  // A file that could not be written, such as an upload.
  if (code === 'ENOSPC' || code === 'EDQUOT') return new Problem('data-full', message ?? 'the disk is full')
  if (status !== undefined && status >= 400 && status < 500)
    return new Problem('bad-request', message ?? 'the request cannot be read')
  return new Problem('internal', 'the request failed by a fault in Rollcall; the log has the details')
}
