// The OpenAPI document is sound and says what the routes do; the page that shows it, health and metrics need nothing from elsewhere.
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { problemTable } from '../../src/kernel/problem.ts'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'
import { expectProblem } from '../fixtures/conformance.ts'

let bench: ApiBench
// biome-ignore lint/suspicious/noExplicitAny: a document is looked into by hand
let document: any
beforeAll(async () => {
  bench = await openApiBench()
  document = (await bench.ask('GET', '/api/v1/openapi.json')).json
})
afterAll(() => bench.close())

interface Operation {
  readonly at: string
  readonly method: string
  readonly operationId: string
  readonly summary: string
  readonly tags: readonly string[]
  readonly parameters?: readonly { readonly in: string; readonly name: string; readonly required?: boolean }[]
  readonly responses: Readonly<Record<string, { readonly description: string; readonly content?: object }>>
}

const operations = (): Operation[] =>
  Object.entries(document.paths).flatMap(([at, methods]) =>
    Object.entries(methods as object).map(([method, operation]) => ({ at, method, ...operation })),
  )

/** All values under a key, anywhere. */
function valuesOf(value: unknown, key: string): unknown[] {
  if (typeof value !== 'object' || value === null) return []
  return Object.entries(value).flatMap(([name, inner]) => [...(name === key ? [inner] : []), ...valuesOf(inner, key)])
}

/** What an RFC 6901 pointer leads to. */
function resolve(pointer: string): unknown {
  return pointer
    .split('/')
    .slice(1)
    .map((token) => token.replaceAll('~1', '/').replaceAll('~0', '~'))
    .reduce<unknown>((at, token) => (at as Record<string, unknown> | undefined)?.[token], document)
}

describe('the OpenAPI document', () => {
  it('is 3.1, with a title, a version and a caution', () => {
    expect(document.openapi).toMatch(/^3\.1\.\d+$/)
    expect(document.info).toMatchObject({ title: 'Rollcall', version: '0.0.0-test' })
    expect(document.info.description).toContain('No safety function')
  })

  it('describes every route once, and nothing else', () => {
    const described = operations().map(({ at, method }) => `${method} ${at}`)
    const routed = bench.routes.map(({ method, path }) => `${method} /api/v1${path.replaceAll(/:(\w+)/g, '{$1}')}`)
    expect(described.toSorted()).toEqual(routed.toSorted())
  })

  it('leaves no reference open', () => {
    const references = valuesOf(document, '$ref') as string[]
    expect(references.length).toBeGreaterThan(20)
    for (const reference of new Set(references)) {
      expect(reference).toMatch(/^#\//)
      expect(resolve(reference.slice(1)), reference).toBeTypeOf('object')
    }
  })

  it('names every operation, each by its own name', () => {
    const names = operations().map(({ operationId }) => operationId)
    for (const name of names) expect(name).toMatch(/^[a-z][A-Za-z0-9]+$/)
    expect(new Set(names).size).toBe(names.length)
    for (const { summary, tags } of operations()) {
      expect(summary.length).toBeGreaterThan(10)
      expect(tags).toHaveLength(1)
    }
  })

  it('declares every parameter of a path, as required', () => {
    for (const { at, parameters = [] } of operations()) {
      const inPath = parameters.filter((parameter) => parameter.in === 'path')
      expect(inPath.map(({ name }) => name).toSorted(), at).toEqual(
        [...at.matchAll(/\{(\w+)\}/g)].map(([, name]) => name!).toSorted(),
      )
      expect(inPath.every(({ required }) => required)).toBe(true)
    }
  })

  it('gives each operation a success and its problems, with content', () => {
    for (const { at, responses } of operations()) {
      const statuses = Object.keys(responses)
      expect(
        statuses.some((status) => /^[123]/.test(status)),
        at,
      ).toBe(true)
      for (const status of statuses.filter((text) => Number(text) >= 400))
        expect(Object.keys(responses[status]?.content ?? {})).toEqual(['application/problem+json'])
      for (const { description } of Object.values(responses)) expect(description.length).toBeGreaterThan(3)
    }
  })

  it('says which bodies a route takes', () => {
    const takes = (name: string): string[] => Object.keys(document.paths[name].post.requestBody.content)
    expect(takes('/api/v1/packages')).toEqual(['application/json', 'application/zip'])
    expect(takes('/api/v1/runs/{runId}/captures')).toEqual(['image/png', 'image/jpeg', 'image/tiff'])
  })
})

/** Addresses that a page or script would load by itself; links and names of vocabularies are not. */
const loads = (text: string): string[] => [
  ...[...text.matchAll(/<(?:script|link|img|iframe)\b[^>]*?\b(?:src|href)\s*=\s*["']?([^"'\s>]+)/g)].map(
    ([, url]) => url!,
  ),
  ...[...text.matchAll(/(?:@import\s+|url\()\s*["']?([^"')\s]+)/g)].map(([, url]) => url!),
]

describe('the page of the interface', () => {
  it('is reached with or without the slash, and from the root', async () => {
    const page = '/api/v1/docs/'
    for (const target of ['/', '/api/v1/docs']) {
      const reply = await bench.ask('GET', target)
      expect([301, 302]).toContain(reply.status)
      expect(reply.headers.get('location')).toBe(page)
    }
    expect((await bench.ask('GET', page)).headers.get('content-type')).toContain('text/html')
  })

  it('loads everything from this server, and all of it is there', async () => {
    const page = await bench.ask('GET', '/api/v1/docs/')
    const files = loads(page.text)
    expect(files).toHaveLength(3)
    for (const file of files) {
      expect(file).not.toMatch(/^(\w+:)?\/\//)
      const { status, text } = await bench.ask('GET', `/api/v1/docs/${file}`)
      expect(status, file).toBe(200)
      expect(text.length).toBeGreaterThan(20)
    }
    const style = (await bench.ask('GET', '/api/v1/docs/assets/swagger-ui.css')).text
    for (const address of loads(style)) expect(address).toMatch(/^data:/)
    const start = (await bench.ask('GET', '/api/v1/docs/start.js')).text
    expect(start).not.toMatch(/https?:/)
    expect(start).toContain('validatorUrl: null')
  })

  it('may load nothing from elsewhere, whatever its scripts try', async () => {
    const policy = (await bench.ask('GET', '/api/v1/docs/')).headers.get('content-security-policy') ?? ''
    expect(policy).toContain("default-src 'self'")
    expect(policy).toContain("script-src 'self'")
    expect(policy).toContain("object-src 'none'")
    expect(policy).not.toMatch(/https?:|\*/)
  })

  it('shows no other file of its library', async () => {
    for (const file of [
      'package.json',
      'swagger-initializer.js',
      '../package.json',
      '%2e%2e/package.json',
      'index.html',
    ]) {
      const { status } = await bench.ask('GET', `/api/v1/docs/assets/${file}`)
      expect(status, file).toBe(404)
    }
  })
})

describe('every reply', () => {
  it.each(['/api/v1/jobs', '/api/v1/docs/', '/api/v1/none', '/healthz'])('of %s is hardened', async (target) => {
    const { headers } = await bench.ask('GET', target)
    expect(headers.get('content-security-policy')).toContain("default-src 'self'")
    expect(headers.get('x-content-type-options')).toBe('nosniff')
    expect(headers.get('x-powered-by')).toBeNull()
    expect(headers.get('access-control-allow-origin')).toBeNull()
  })
})

describe('health', () => {
  it('is alive while it runs, ready while it serves', async () => {
    expect((await bench.ask('GET', '/healthz')).json).toEqual({ alive: true, version: '0.0.0-test' })
    expect((await bench.ask('GET', '/readyz')).status).toBe(200)
    bench.ready = false
    const reply = await bench.ask('GET', '/readyz')
    bench.ready = true
    expect([reply.status, reply.json]).toEqual([503, { ready: false }])
  })

  it('is counted in the text format of Prometheus', async () => {
    const { headers, text } = await bench.ask('GET', '/metrics')
    expect(headers.get('content-type')).toContain('text/plain; version=0.0.4')
    for (const name of [
      'rollcall_frames_total',
      'rollcall_labels_total',
      'rollcall_answer_seconds_bucket',
      'rollcall_work',
    ])
      expect(text).toMatch(new RegExp(`^# (HELP|TYPE) ${name.replace('_bucket', '')} `, 'm'))
    expect(text).toContain('rollcall_work{state="dead"} 0')
  })
})

describe('problems', () => {
  it('are each explained at their own type', async () => {
    for (const [code, row] of Object.entries(problemTable)) {
      const { status, json } = await bench.ask('GET', `/api/v1/problems/${code}`)
      expect([status, json]).toEqual([200, { code, ...row }])
    }
    const target = '/api/v1/problems/toString'
    expect(expectProblem(await bench.ask('GET', target), target)).toBe('not-found')
  })

  it.each([
    ['GET', '/api/v1/none', 'not-found'],
    ['GET', '/api/v1/runs/none', 'run-not-found'],
    ['DELETE', '/api/v1/runs', 'method-not-allowed'],
    ['GET', '/api/v1/work?stat=dead', 'bad-request'],
    ['GET', '/api/v1/work?count=0', 'bad-request'],
    ['GET', '/api/v1/runs/%E0%A4%A', 'bad-request'],
  ])('of %s %s are problem details with code %s', async (method, target, code) => {
    expect(expectProblem(await bench.ask(method, target), target)).toBe(code)
  })

  it('of a method that a path does not take say which it takes', async () => {
    const { headers } = await bench.ask('PATCH', '/api/v1/lines/L1')
    expect(headers.get('allow')).toBe('PUT, GET')
  })

  it.each([
    ['{', { 'content-type': 'application/json' }, 'body-not-json'],
    ['['.repeat(100), { 'content-type': 'application/json' }, 'body-too-deep'],
    [' '.repeat(4 * 1024 * 1024 + 1), { 'content-type': 'application/json' }, 'body-too-large'],
    ['{}', { 'content-type': 'text/plain' }, 'wrong-media-type'],
    ['{}', { 'content-type': 'application/json', origin: 'http://elsewhere.example' }, 'foreign-origin'],
  ])('of a body such as %.12s are told before any route looks at it', async (raw, headers, code) => {
    expect(expectProblem(await bench.ask('POST', '/api/v1/runs', { raw, headers }), '/api/v1/runs')).toBe(code)
  })
})
