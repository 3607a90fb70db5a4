// The OpenAPI document, made of the routes' own schemas, and the self-hosted page that shows it.
import { createRequire } from 'node:module'
import path from 'node:path'
import express, { type Express } from 'express'
import type * as z from 'zod'
import { createDocument, type ZodOpenApiOperationObject, type ZodOpenApiPathsObject } from 'zod-openapi'
import { type ProblemCode, problemTable } from '../kernel/problem.ts'
import { prefix } from './mount.ts'
import { problemDetailsSchema } from './problem-schema.ts'
import type { Route } from './route.ts'

const openApiPath = (expressPath: string): string => expressPath.replaceAll(/:(\w+)/g, '{$1}')

// What any body can be refused for, before its route looks at it.
const bodyProblems: readonly ProblemCode[] = ['body-not-json', 'body-too-deep', 'body-too-large', 'wrong-media-type']

const keyProblems: readonly ProblemCode[] = ['unauthorized', 'forbidden', 'too-many-tries']
const nameProblems: readonly ProblemCode[] = ['by-differs', 'second-person-needed', 'second-person-same']

function peopleProblems({ roles, act }: Route): readonly ProblemCode[] {
  if (roles === 'anyone') return []
  return act ? [...keyProblems, ...nameProblems] : keyProblems
}

/** What a row's key must be, for programs that read the document (OpenAPI 3.1 §4.8.30) and, as `x-roles`, for people. */
function securityOf({ roles, act }: Route): object {
  if (roles === 'anyone') return { security: [] }
  return { security: [{ key: [] }, ...(act ? [{ key: [], secondKey: [] }] : [])], 'x-roles': roles }
}

function responsesOf(row: Route): ZodOpenApiOperationObject['responses'] {
  const responses: Record<string, { description: string; content?: Record<string, object> }> = {}
  for (const { status, description, mediaType, schema } of row.returns) {
    const known = responses[status] ?? { description }
    const content = schema ? { 'application/json': { schema } } : mediaType ? { [mediaType]: {} } : undefined
    responses[status] = content ? { ...known, content: { ...known.content, ...content } } : known
  }
  const ofBodies = row.body || row.rawBody ? bodyProblems : []
  const possible = [...new Set<ProblemCode>(['bad-request', ...ofBodies, ...row.problems, ...peopleProblems(row)])]
  for (const status of new Set(possible.map((code) => problemTable[code].status))) {
    const codes = possible.filter((code) => problemTable[code].status === status)
    responses[status] = {
      description: codes.map((code) => `\`${code}\`: ${problemTable[code].title}`).join('. '),
      content: { 'application/problem+json': { schema: problemDetailsSchema } },
    }
  }
  return responses as ZodOpenApiOperationObject['responses']
}

function bodyOf(row: Route): ZodOpenApiOperationObject['requestBody'] {
  const json = row.body ? { 'application/json': { schema: row.body } } : {}
  const raw = Object.fromEntries((row.rawBody ?? []).map((media) => [media, {}]))
  const content = { ...json, ...raw }
  return Object.keys(content).length > 0 ? { required: true, content } : undefined
}

function operationOf(row: Route): ZodOpenApiOperationObject {
  const requestBody = bodyOf(row)
  return {
    operationId: `${row.method}${row.path.replaceAll(/[/:-]+(\w)/g, (_, letter: string) => letter.toUpperCase())}`,
    tags: [row.tag],
    summary: row.summary,
    requestParams: {
      ...(row.params ? { path: row.params as z.ZodObject } : {}),
      ...(row.query ? { query: row.query as z.ZodObject } : {}),
    },
    ...(requestBody ? { requestBody } : {}),
    ...securityOf(row),
    responses: responsesOf(row),
  }
}

/** OpenAPI 3.1 of all routes. */
export function openApiDocument(routes: readonly Route[], version: string): unknown {
  const paths: ZodOpenApiPathsObject = {}
  for (const row of routes) {
    const at = `${prefix}${openApiPath(row.path)}`
    paths[at] = { ...paths[at], [row.method]: operationOf(row) }
  }
  return createDocument({
    openapi: '3.1.0',
    info: {
      title: 'Rollcall',
      version,
      description:
        'Reads the code on every label of a pre-printed web and answers which layer that label needs. No safety function: nothing here interlocks, stops or restarts a machine. A controller lays nothing without a valid answer.',
    },
    servers: [{ url: '/' }],
    components: {
      securitySchemes: {
        key: {
          type: 'http',
          scheme: 'bearer',
          description:
            'A key from `rollcall key create`. Until the first one is made, a server on loopback asks for none.',
        },
        secondKey: {
          type: 'apiKey',
          in: 'header',
          name: 'Rollcall-Second-Key',
          description: "A second person's own key, for acts that take two.",
        },
      },
    },
    paths,
  })
}

const page = `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Rollcall API</title>
<link rel="stylesheet" href="assets/swagger-ui.css"></head><body><div id="page"></div>
<script src="assets/swagger-ui-bundle.js"></script><script src="start.js"></script></body></html>`

const start = `SwaggerUIBundle({ url: '../openapi.json', dom_id: '#page', validatorUrl: null })`

/** Serves the document and its page; every file comes from this server. */
export function mountApiPage(app: Express, document: unknown): void {
  const text = JSON.stringify(document)
  app.get(`${prefix}/openapi.json`, (_request, response) => {
    response.type('application/json').send(text)
  })
  app.get(`${prefix}/docs/start.js`, (_request, response) => {
    response.type('text/javascript').send(start)
  })
  app.get(`${prefix}/docs`, (request, response) => {
    // The page's own links are relative to its folder.
    if (request.path.endsWith('/')) response.type('text/html').send(page)
    else response.redirect(301, `${prefix}/docs/`)
  })
  app.get('/', (_request, response) => response.redirect(302, `${prefix}/docs/`))
  const names = new Set(['/swagger-ui.css', '/swagger-ui-bundle.js'])
  const assets = express.static(
    path.dirname(createRequire(import.meta.url).resolve('swagger-ui-dist/swagger-ui.css')),
    { index: false, maxAge: '1d' },
  )
  app.use(`${prefix}/docs/assets`, (request, response, next) =>
    names.has(request.path) ? assets(request, response, next) : next(),
  )
}
