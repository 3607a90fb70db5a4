// From the table of routes to express: validate, call, reply; every refusal leaves as RFC 9457 problem details.
import type { ErrorRequestHandler, Express, Request, RequestHandler, Response } from 'express'
import type { Logger } from 'pino'
import type * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { type Finding, Problem, toProblemDetails } from '../kernel/problem.ts'
import { mediaTypeOf, parseJson, readBody } from './guards.ts'
import type { Reply, Route } from './route.ts'

export const prefix = '/api/v1'

function validate(schema: z.ZodType, value: unknown, part: string): unknown {
  const parsed = schema.safeParse(value)
  if (parsed.success) return parsed.data
  const findings = parsed.error.issues.slice(0, 100).map(
    (issue): Finding => ({
      code: 'bad-request',
      message: issue.message,
      pointer: `${part === 'body' ? '' : `#${part}`}${issue.path.map((step) => `/${String(step)}`).join('')}`,
    }),
  )
  const [first] = findings
  const more = parsed.error.issues.length > 1 ? ` (and ${parsed.error.issues.length - 1} more)` : ''
  throw new Problem('bad-request', `the ${part} does not fit: ${first?.pointer || '/'} ${first?.message}${more}`, {
    findings,
  })
}

async function bodyOf(route: Route, request: Request): Promise<unknown> {
  if (route.rawBody) {
    const media = mediaTypeOf(request)
    if (route.rawBody.includes(media)) return undefined
    if (!route.body) {
      throw new Problem('wrong-media-type', `this route takes ${route.rawBody.join(', ')}`, {
        measured: media || 'none',
      })
    }
  }
  if (!route.body) return undefined
  const media = mediaTypeOf(request)
  if (media !== 'application/json') {
    throw new Problem('wrong-media-type', 'this route takes application/json', {
      measured: media || 'none',
      limit: 'application/json',
    })
  }
  const text = (await readBody(request, limits.jsonBodyBytesMax)).toString('utf8')
  return validate(route.body, parseJson(text), 'body')
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

function handlerOf(route: Route): RequestHandler {
  return async (request, response) => {
    const params = route.params ? validate(route.params, request.params, 'path') : request.params
    const query = route.query ? validate(route.query, request.query, 'query') : {}
    const body = await bodyOf(route, request)
    const reply = await route.handle({ params, query, body, request, response } as never)
    if (reply !== 'sent') send(response, reply)
  }
}

/** Mounts routes below the prefix; a known path with another method is `method-not-allowed` (RFC 9110 §15.5.6, with Allow). */
export function mountRoutes(app: Express, routes: readonly Route[]): void {
  const methods = new Map<string, string[]>()
  for (const row of routes) {
    app[row.method](`${prefix}${row.path}`, handlerOf(row))
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

/** Anything thrown becomes problem details; what is no `Problem` is a fault of ours and is logged whole. */
export function problemMapper(log: Logger): ErrorRequestHandler {
  return (error, request, response, _next) => {
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
    // The rest of a refused upload is not read.
    if (!request.complete) response.setHeader('connection', 'close')
    response.end(JSON.stringify({ ...details, instance: request.originalUrl.split('?')[0] }))
  }
}

function asProblem(error: unknown): Problem {
  if (error instanceof Problem) return error
  const { status, message } = error as { status?: number; message?: string }
  if (status !== undefined && status >= 400 && status < 500)
    return new Problem('bad-request', message ?? 'the request cannot be read')
  return new Problem('internal', 'the request failed by a fault in Rollcall; the log has the details')
}
