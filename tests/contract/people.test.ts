// Every route of the OpenAPI document, with every role and with none: allowed is what the table below says, and nothing else. The table
// is written by hand; a route that it does not name fails.
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openApiBench } from '../fixtures/api.ts'
import { expectProblem } from '../fixtures/conformance.ts'
import { type CallerName, callers, type KeyedHouse, openKeyedHouse } from '../fixtures/keyed-house.ts'
import type { AskOptions, Reply } from '../fixtures/server.ts'

interface Row {
  /** Whose role the route takes, where a key of role line is let in for some names only. */
  readonly roles?: string
  /** P prepress, L the line's own key, O that of another line, Q qa, A admin. */
  readonly may: string
  readonly query?: string
  readonly body?: object
}

// What a route would do is kept from happening by bodies and names that no route takes, once it has been found who asks.
const table: Readonly<Record<string, Row>> = {
  'post /packages/check': { may: 'PA' },
  'post /packages': { may: 'PA', query: 'by=x' },
  'post /packages/{job}/{package}/release': { may: 'PA' },
  'post /jobs/{job}/designs/{design}/versions/{version}/release': { may: 'PA' },
  'post /jobs/{job}/designs/{design}/versions/{version}/withdraw': { may: 'PQA' },
  'get /jobs': { may: 'PQA' },
  'get /jobs/{job}': { may: 'PQA' },
  'get /packages/{job}/{package}': { may: 'PQA' },
  'get /jobs/{job}/designs/{design}/versions/{version}/preview': { may: 'PLOQA' },
  'put /lines/{line}': { may: 'LA' },
  'get /lines/{line}': { may: 'PLQA' },
  'get /lines': { may: 'PLOQA' },
  'get /lines/{line}/revisions': { may: 'PLQA' },
  'post /lines/check': { may: 'PLOQA' },
  'put /tickets/{ticket}': { may: 'PLOA' },
  'get /tickets/{ticket}': { may: 'PLOQA' },
  'get /tickets': { may: 'PLOQA' },
  'get /tickets/{ticket}/revisions': { may: 'PLOQA' },
  'post /tickets/check': { may: 'PLOQA' },
  'post /sequences': { may: 'PLOA' },
  'get /names': { may: 'PLOQA' },
  'get /readers': { may: 'PLOQA' },
  'get /lines/{line}/orientation': { may: 'PLQA', query: 'ticket=T7' },
  'post /lines/{line}/sums': { may: 'PLQA' },
  'post /lines/{line}/order': { may: 'PLQA' },
  'get /readiness': { may: 'PLQA', query: 'ticket=T7&line=L7' },
  'post /readiness': { may: 'PLQA', body: { ticket: 'none', line: 'L7' } },
  'get /readiness/revision': { may: 'PLQA', query: 'ticket=T7&line=L7' },
  'post /runs': { may: 'LA', body: { ticket: 'none', line: 'L7', by: 'x' } },
  'get /runs': { may: 'PLOQA' },
  'get /runs/{runId}': { may: 'PLQA' },
  'post /runs/{runId}/proving': { may: 'LA' },
  'post /runs/{runId}/prove': { may: 'LA' },
  'post /runs/{runId}/clear': { may: 'LA' },
  'post /runs/{runId}/material': { may: 'LA' },
  'post /runs/{runId}/ticket': { may: 'LA' },
  'post /runs/{runId}/close': { may: 'LA' },
  'post /runs/{runId}/seal': { may: 'LQA' },
  'post /runs/{runId}/abort': { may: 'LA' },
  'post /runs/{runId}/frames': { may: 'LA' },
  'post /runs/{runId}/captures': { may: 'LA', query: 'frame=0&positionMm=0' },
  'get /runs/{runId}/answers': { may: 'LQA' },
  'post /runs/{runId}/laid': { may: 'LA' },
  'get /runs/{runId}/line': { may: 'LA' },
  'get /runs/{runId}/report': { may: 'LQA' },
  'get /runs/{runId}/finished': { may: 'LQA' },
  'get /runs/{runId}/reconciliation': { may: 'LQA' },
  'get /runs/{runId}/pull-list': { may: 'LQA' },
  'get /runs/{runId}/make-good': { may: 'LQA' },
  'get /runs/{runId}/set-up': { may: 'PLQA' },
  'get /runs/{runId}/recalls': { may: 'PLQA' },
  'get /rolls': { may: 'PQA' },
  'get /rolls/{roll}': { may: 'PQA' },
  'get /trace': { may: 'QA', query: 'code=x' },
  'get /runs/{runId}/ledger': { may: 'LQA' },
  'get /runs/{runId}/heads': { may: 'LQA' },
  'get /runs/{runId}/checkpoint': { may: 'LQA' },
  'get /runs/{runId}/entries/{index}/proof': { may: 'LQA' },
  'get /key': { may: 'PLOQA' },
  'get /layers/{digest}': { may: 'PLOQA' },
  'post /codes/read': { may: 'PQA' },
  'get /codes/explain': { may: 'PLOQA', query: 'text=x' },
  'get /work': { may: 'PQA' },
  'get /work/{id}': { may: 'PQA', roles: 'PLQA' },
  'post /work/{id}/requeue': { may: 'PA' },
  'post /work/{id}/cancel': { may: 'PA' },
  'post /keys': { may: 'A' },
  'get /keys': { may: 'A' },
  'delete /keys/{id}': { may: 'A' },
}
const letters: Readonly<Record<CallerName, string>> = {
  prepress: 'P',
  line: 'L',
  'other-line': 'O',
  qa: 'Q',
  admin: 'A',
}

let house: KeyedHouse
// biome-ignore lint/suspicious/noExplicitAny: a document is looked into by hand
let paths: Record<string, Record<string, any>>
beforeAll(async () => {
  house = await openKeyedHouse()
  paths = (await house.bench.ask('GET', '/api/v1/openapi.json')).json.paths
})
afterAll(() => house.bench.close())

const named = (runId: string): Record<string, string> => ({
  runId,
  line: 'L7',
  ticket: 'T7',
  job: 'J7',
  package: '1',
  design: 'LIME',
  version: '1',
  digest: '0'.repeat(64),
  id: 'none',
  index: '0',
  roll: 'T7-R1',
})

function requestOf(name: string, given: Record<string, string>): [method: string, target: string, options: AskOptions] {
  const [method = '', route = ''] = name.split(' ')
  const { query, body = {} } = table[name]!
  const target = route.replaceAll(/\{(\w+)\}/g, (_, key: string) => given[key] ?? 'none')
  return [
    method.toUpperCase(),
    query ? `${target}?${query}` : target,
    method === 'post' || method === 'put' ? { body } : {},
  ]
}

const askAs = (key: string | undefined, name: string, given = named(house.runs.L7)): Promise<Reply> =>
  house.ask(key, ...requestOf(name, given))

const isRefused = ({ status }: Reply): boolean => status === 401 || status === 403
/** All of a refusal but the address that was asked for. */
const saidIn = ({ json: { instance, ...said } }: Reply): object => said

describe('the table', () => {
  it('names every route of the document, and no other', () => {
    const described = Object.entries(paths).flatMap(([at, methods]) =>
      Object.keys(methods).map((method) => `${method} ${at.replace('/api/v1', '')}`),
    )
    expect(described.toSorted()).toEqual(Object.keys(table).toSorted())
  })

  it('agrees with what the document says of each', () => {
    for (const [name, { may, roles: of = may }] of Object.entries(table)) {
      const [method = '', at = ''] = name.split(' ')
      const { security, responses, 'x-roles': roles } = paths[`/api/v1${at}`]?.[method] ?? {}
      const wanted = ['prepress', 'line', 'qa', 'admin'].filter((role) => of.includes(role.charAt(0).toUpperCase()))
      expect([name, roles]).toEqual([name, wanted])
      expect(security[0]).toEqual({ key: [] })
      for (const status of [401, 403, 429])
        expect(Object.keys(responses[status].content)).toEqual(['application/problem+json'])
    }
  })
})

describe('a route', () => {
  it.each(Object.keys(table))('%s lets in who may, and nobody else', async (name) => {
    const verdicts: string[] = []
    for (const caller of callers) {
      const reply = await askAs(house.keys[caller], name)
      if (!isRefused(reply)) verdicts.push(letters[caller])
      else expect(expectProblem(reply, reply.json.instance)).toBe('forbidden')
      expect(reply.status, reply.text).not.toBe(500)
    }
    expect(verdicts.join('')).toBe(table[name]?.may)
  })

  it.each(Object.keys(table))('%s turns away who has no sound key, in the same words for all', async (name) => {
    const { bench, keys, pass } = house
    const expiring = await bench.parts.keys.createKey({
      role: 'admin',
      createdBy: 'test',
      expiresAtMs: bench.parts.clock.nowMs() + 1,
    })
    const revoked = await bench.parts.keys.createKey({ role: 'admin', createdBy: 'test' })
    await bench.parts.keys.revokeKey(revoked.record.id, 'test')
    const last = keys.admin.slice(-1)
    const mistyped = keys.admin.slice(0, -1) + (last === '0' ? '1' : '0')
    for (const key of [undefined, expiring.text, revoked.text, mistyped, 'garbage', '""', '0'.repeat(4_000)]) {
      // Each in a minute of its own, so that none is one too many.
      pass(60_001)
      const reply = await askAs(key, name)
      expect(expectProblem(reply, reply.json.instance)).toBe('unauthorized')
      expect(reply.headers.get('www-authenticate')).toMatch(/^Bearer realm="rollcall"/)
      expect(JSON.stringify(saidIn(reply))).not.toMatch(/J7|LIME|L7|L8|T7|fault line/)
      const elsewhere = await askAs(key, name, {})
      expect(saidIn(elsewhere)).toEqual(saidIn(reply))
    }
  })

  it.each(Object.keys(table).filter((name) => name.includes('{runId}')))(
    '%s tells the key of a line nothing of what is not its own, not even whether it is there',
    async (name) => {
      const foreign = await askAs(house.keys['other-line'], name)
      const none = await askAs(house.keys['other-line'], name, named('T7.99'))
      expect(none.status).toBe(403)
      expect(saidIn(none)).toEqual(saidIn(foreign))
    },
  )

  it('is as closed to HEAD as to GET', async () => {
    for (const name of Object.keys(table).filter((row) => row.startsWith('get '))) {
      const [, target] = requestOf(name, named(house.runs.L7))
      expect((await house.ask(undefined, 'HEAD', target)).status, name).toBe(401)
    }
  })

  it('with another scheme, or a key in the address, lets nobody in', async () => {
    const { admin } = house.keys
    for (const authorization of [`Basic ${admin}`, admin, `Bearer ${admin} ${admin}`, 'Bearer', '']) {
      house.pass(60_001)
      expect((await house.ask(undefined, 'GET', '/jobs', { headers: { authorization } })).status).toBe(401)
    }
    expect((await house.ask(undefined, 'GET', `/jobs?key=${admin}`)).status).toBe(401)
    const headers = { authorization: `bearer  ${admin}` }
    expect((await house.ask(undefined, 'GET', '/jobs', { headers })).status).toBe(200)
  })
})

describe('a key of a line', () => {
  it('sees in lists what is its own', async () => {
    const list = async (key: string) =>
      (await house.ask(key, 'GET', '/runs')).json.runs.map(({ line }: { line: string }) => line)
    expect(await list(house.keys.line)).toEqual(['L7'])
    expect(await list(house.keys['other-line'])).toEqual(['L8'])
    expect((await list(house.keys.qa)).toSorted()).toEqual(['L7', 'L8'])
    expect((await house.ask(house.keys.line, 'GET', '/names')).json.lines).toEqual(['L7'])
    const { lines } = (await house.ask(house.keys.line, 'GET', '/lines')).json
    expect(lines.map(({ line }: { line: string }) => line)).toEqual(['L7'])
  })

  it('is told by a list which line it is held to; other keys see all and are told nothing', async () => {
    for (const target of ['/runs', '/lines']) {
      expect((await house.ask(house.keys['other-line'], 'GET', target)).json.onlyLine).toBe('L8')
      expect((await house.ask(house.keys.qa, 'GET', target)).json).not.toHaveProperty('onlyLine')
    }
  })

  it('follows the work that its own questions have set going, and no other', async () => {
    const { queue } = house.bench.parts
    // Nobody here does work of this kind.
    for (const line of ['L7', 'L8']) await queue.enqueue({ id: `for-${line}`, kind: 'idle', payload: { line } })
    const status = async (id: string) => (await house.ask(house.keys.line, 'GET', `/work/${id}`)).status
    expect([await status('for-L7'), await status('for-L8'), await status('none')]).toEqual([200, 403, 403])
  })

  it('opens no run on another line, whatever else the request says', async () => {
    const body = { ticket: 'T8', line: 'L8', by: 'F. Lead' }
    const reply = await house.ask(house.keys.line, 'POST', '/runs', { body })
    expect([reply.status, reply.json.code]).toEqual([403, 'forbidden'])
  })
})

describe('without a key', () => {
  it('there is health, the description and the meaning of problems, and nothing else', async () => {
    const status = async (target: string) => (await house.bench.ask('GET', target)).status
    for (const target of [
      '/healthz',
      '/readyz',
      '/api/v1/openapi.json',
      '/api/v1/asyncapi.json',
      '/api/v1/docs/',
      '/api/v1/problems/forbidden',
    ])
      expect(await status(target), target).toBe(200)
    expect(await status('/metrics')).toBe(401)
    const headers = { authorization: `Bearer ${house.keys.line}` }
    expect((await house.bench.ask('GET', '/metrics', { headers })).status).toBe(200)
  })
})

describe('where no key was ever made', () => {
  it('everybody on this machine may do everything but make one', async () => {
    const bench = await openApiBench()
    try {
      for (const name of Object.keys(table)) {
        const [method, target, options] = requestOf(name, named('T7.1'))
        const reply = await bench.ask(method, `/api/v1${target}`, options)
        expect(isRefused(reply), name).toBe(/ \/keys/.test(name))
      }
      expect((await bench.ask('GET', '/metrics')).status).toBe(200)
      // What comes by way of a proxy may come from anywhere.
      const ofProxies = ['forwarded', 'via', 'x-real-ip', 'cf-connecting-ip', 'true-client-ip']
      for (const header of [...ofProxies, ...['for', 'host', 'proto', 'port'].map((what) => `x-forwarded-${what}`)])
        expect((await bench.ask('GET', '/api/v1/jobs', { headers: { [header]: 'x' } })).status).toBe(401)
      // A key that is shown is judged all the same.
      const headers = { authorization: `Bearer ${house.keys.admin}` }
      expect((await bench.ask('GET', '/api/v1/jobs', { headers })).status).toBe(401)
    } finally {
      await bench.close()
    }
  })
})

describe('keys over HTTP', () => {
  it('are shown once, act at once, and end at once', async () => {
    const { admin } = house.keys
    const body = { role: 'qa', person: 'Q. Quinn', expiresAtMs: house.bench.parts.clock.nowMs() + 1_000_000 }
    const made = await house.ask(admin, 'POST', '/keys', { body })
    expect(made.status).toBe(201)
    expect(made.headers.get('cache-control')).toBe('no-store')
    const { key, record } = made.json
    expect((await house.ask(key, 'GET', '/jobs')).status).toBe(200)
    const listed = await house.ask(admin, 'GET', '/keys')
    expect(listed.json.keys[0]).toEqual(record)
    expect(listed.text).not.toContain(key.split('-')[2])
    const gone = await house.ask(admin, 'DELETE', `/keys/${record.id}?by=A.%20Admin`)
    expect(gone.json).toEqual({ outcome: 'revoked' })
    expect((await house.ask(key, 'GET', '/jobs')).json.detail).toMatch(/was revoked/)
    expect((await house.ask(admin, 'DELETE', '/keys/none')).json.code).toBe('key-not-found')
  })

  it.each([
    [{ role: 'line' }, '/line'],
    [{ role: 'qa', line: 'L7' }, '/line'],
    [{ role: 'qa', expiresAtMs: 1 }, '/expiresAtMs'],
  ])('are not made from %j', async (body, pointer) => {
    expect((await house.ask(house.keys.admin, 'POST', '/keys', { body })).json).toMatchObject({
      code: 'bad-request',
      pointer,
    })
  })
})

describe('bad keys', () => {
  it('from one address are turned away after ten in a minute, and sound ones never', async () => {
    const { admin } = house.keys
    house.pass(60_001)
    const tries = []
    for (let i = 0; i < 12; i++) tries.push((await house.ask('rck-bad', 'GET', '/jobs')).status)
    expect(tries).toEqual([...Array(10).fill(401), 429, 429])
    house.pass(20_000)
    const late = await house.ask('rck-bad', 'GET', '/jobs')
    expect(expectProblem(late, '/api/v1/jobs')).toBe('too-many-tries')
    expect(late.headers.get('retry-after')).toBe('40')
    expect((await house.ask(admin, 'GET', '/jobs')).status).toBe(200)
    expect((await house.ask(undefined, 'GET', '/jobs')).status).toBe(401)
    house.pass(40_001)
    expect((await house.ask('rck-bad', 'GET', '/jobs')).status).toBe(401)
  })

  it('as a second key count as well', async () => {
    house.pass(60_001)
    const headers = { 'rollcall-second-key': 'rck-bad' }
    const tries = []
    for (let i = 0; i < 11; i++) tries.push((await house.ask(house.keys.admin, 'GET', '/jobs', { headers })).status)
    expect(tries).toEqual([...Array(10).fill(401), 429])
  })
})
