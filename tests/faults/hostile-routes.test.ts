// Requests that are wrong by their way, their host, their path or their pace; and layers by digest, whose bytes are served in parts.
import { createHash } from 'node:crypto'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { type HostileHouse, openHostileHouse } from '../fixtures/hostile-house.ts'
import { code, demand, frameOf } from '../fixtures/live-run.ts'
import { openConnection, type RawReply, type RawRequest, requestBytes } from '../fixtures/raw-http.ts'
import type { LiveServer, Reply } from '../fixtures/server.ts'

let house: HostileHouse
let server: LiveServer
let runId: string
let refuses: HostileHouse['refuses']
beforeAll(async () => {
  house = await openHostileHouse()
  ;({ server, runId, refuses } = house)
})
afterAll(() => house.close())

/** Sent as it is, path and headers untouched. */
async function raw(request: RawRequest): Promise<RawReply> {
  const connection = await openConnection(server.url)
  return connection.send(request).finally(() => connection.close())
}

const get =
  (target: string, headers: Record<string, string> = {}) =>
  (): Promise<RawReply> =>
    raw({ method: 'GET', target, headers })

describe('a route', () => {
  it('that takes another method says which it takes', async () => {
    const ways: [string, string, string][] = [
      ['DELETE', `/runs/${runId}/frames`, 'POST'],
      ['GET', `/runs/${runId}/frames`, 'POST'],
      ['PUT', `/runs/${runId}`, 'GET'],
      ['POST', '/tickets/T7', 'PUT, GET'],
      ['PATCH', '/work', 'GET'],
    ]
    for (const [method, path, allow] of ways) {
      const ask = async (): Promise<Reply> => {
        const reply = await server.ask(method, path)
        expect(new Set(reply.headers.get('allow')?.split(', '))).toEqual(new Set(allow.split(', ')))
        return reply
      }
      await refuses(ask, { code: 'method-not-allowed', status: 405, measured: method })
    }
  })

  it('that is not there is not found, and neither is an unknown run, ticket, line, work or job', async () => {
    await refuses(() => server.ask('GET', '/nothing'), { code: 'not-found', status: 404 })
    await refuses(() => server.ask('GET', '//nothing'), { code: 'not-found', status: 404 })
    const body = frameOf(10, [null, null])
    for (const way of ['frames', 'laid', 'captures?frame=1&positionMm=2']) {
      const headers = { 'content-type': way.startsWith('captures') ? 'image/png' : 'application/json' }
      const sent = JSON.stringify(way === 'laid' ? { frame: 1, cell: 1, laid: 'full' } : body)
      const ask = (): Promise<Reply> => server.ask('POST', `/runs/T9.1/${way}`, { raw: sent, headers })
      await refuses(ask, { code: 'run-not-found', status: 404 })
    }
    for (const way of ['', '/answers', '/ledger', '/heads', '/checkpoint', '/report'])
      await refuses(() => server.ask('GET', `/runs/T9.1${way}`), { code: 'run-not-found', status: 404 })
    await refuses(() => server.ask('GET', '/tickets/T9'), { code: 'ticket-not-found', status: 404 })
    await refuses(() => server.ask('GET', '/lines/L9'), { code: 'line-not-found', status: 404 })
    await refuses(() => server.ask('POST', '/work/none/requeue'), { code: 'work-not-found', status: 404 })
    await refuses(() => server.ask('GET', '/jobs/J9'), { code: 'package-not-found', status: 404 })
  })

  it('asked by a page or under a host name that is not this server is refused', async () => {
    const { host, port } = new URL(server.url)
    const refusal = { code: 'foreign-origin', status: 403 }
    for (const name of ['evil.example', `evil.example:${port}`, '127.0.0.1.evil.example', '', '10.0.0.1', 'localhost.'])
      await refuses(get('/api/v1/runs', { host: name }), refusal)
    for (const origin of ['http://evil.example', 'null', `https://${host}`, 'http://127.0.0.1:1', 'http://localhost'])
      await refuses(get('/api/v1/runs', { origin }), { ...refusal, measured: origin })
    for (const headers of [{ origin: `http://${host}` }, { host: `localhost:${port}` }, { host: '[::1]' }])
      expect((await get('/api/v1/runs', headers)()).status).toBe(200)
  })

  it('with a path that climbs, is broken or holds a null byte opens no file', async () => {
    for (const id of ['..%2f..%2fformat', '%2e%2e', '..%5c..%5cformat', 'T7.1%00', '%2fetc%2fpasswd'])
      await refuses(get(`/api/v1/runs/${id}`), { code: 'run-not-found', status: 404 })
    for (const target of ['/api/v1/runs/../../format', '/api/v1/../../etc/passwd', '/../format', '//etc/passwd'])
      await refuses(get(target), { code: 'not-found', status: 404 })
    for (const digest of ['..%2f..%2f..%2fformat', 'F'.repeat(64), '0'.repeat(63), `${'0'.repeat(64)}%00`])
      await refuses(get(`/api/v1/layers/${digest}`), { code: 'bad-request', status: 400 })
    await refuses(get(`/api/v1/layers/${'0'.repeat(64)}`), { code: 'blob-not-found', status: 404 })
    await refuses(get('/api/v1/runs/%zz'), { code: 'bad-request', status: 400 })
    await refuses(get(`/api/v1/runs/${'a'.repeat(300)}`), { code: 'bad-request', status: 400 })
    await refuses(get('/api/v1/docs/..%2f..%2f..%2fpackage.json'), { code: 'not-found', status: 404 })
  })

  it('with parameters that are none is refused', async () => {
    for (const query of ['after=x', 'after=-2', 'limit=0', 'limit=1e9', 'frame=-1', 'frame=1.5', 'after=1&after=2'])
      await refuses(() => server.ask('GET', `/runs/${runId}/answers?${query}`), { code: 'bad-request', status: 400 })
    await refuses(() => server.ask('GET', `/runs/${runId}/answers?frame=99`), { code: 'not-found', status: 404 })
  })
})

describe('a run', () => {
  const act = (way: string, body: unknown) => (): Promise<Reply> =>
    server.ask('POST', `/runs/${runId}/${way}`, { body })

  it('refuses acts that its state does not allow, or that nobody put a name to', async () => {
    await refuses(act('seal', { by: 'lead' }), { code: 'run-state', status: 409, measured: 'open' })
    await refuses(act('prove', { by: 'lead', lanes: [1, 2] }), { code: 'run-state', status: 409 })
    await refuses(act('abort', { by: 'lead' }), { code: 'bad-request', status: 400, at: '/why' })
    await refuses(act('close', { by: '  ' }), { code: 'bad-request', status: 400, at: '/by' })
    const cleared = { by: 'lead', why: 'x', after: 'resume', cause: { flag: 'withdrawn', job: 'J7', design: 'LIME' } }
    await refuses(act('clear', cleared), { code: 'cause-not-open', status: 409 })
  })

  it('does not open on a ticket that is not ready, and nothing stays of it', async () => {
    const ticket = {
      ...(await demand(server.ask('GET', '/tickets/T7'))).json.content,
      ticket: 'T8',
      substrate: 'paper',
    }
    await demand(server.ask('PUT', '/tickets/T8', { body: ticket }))
    const order = { ticket: 'T8', line: 'L7', by: 'lead' }
    const open = (body: unknown) => (): Promise<Reply> => server.ask('POST', '/runs', { body })
    await refuses(open(order), { code: 'not-ready', status: 409 })
    await refuses(open({ ...order, override: true }), { code: 'bad-request', status: 400, at: '/why' })
    await refuses(open({ ...order, line: 'L9' }), { code: 'line-not-found', status: 404 })
  })
})

describe('a layer', () => {
  let path: string
  let bytes: Buffer
  beforeAll(async () => {
    const { json } = await server.ask('GET', `/runs/${runId}/answers?frame=1`)
    const [{ digest }] = json.answers[0].layers
    path = `/layers/${digest}`
    bytes = Buffer.from(await (await fetch(`${server.url}/api/v1${path}`)).arrayBuffer())
    expect(createHash('sha256').update(bytes).digest('hex')).toBe(digest)
  })
  const part = async (headers: Record<string, string>): Promise<{ response: Response; body: Buffer }> => {
    const response = await fetch(`${server.url}/api/v1${path}`, { headers })
    return { response, body: Buffer.from(await response.arrayBuffer()) }
  }

  it('is served in parts, to the byte (RFC 9110 §14)', async () => {
    const size = bytes.length
    const parts: [string, number, number][] = [
      ['bytes=0-0', 0, 1],
      ['bytes=10-19', 10, 20],
      ['bytes=100-', 100, size],
      ['bytes=-7', size - 7, size],
      [`bytes=${size - 1}-${size + 999}`, size - 1, size],
    ]
    for (const [range, from, to] of parts) {
      const { response, body } = await part({ range })
      expect(response.status).toBe(206)
      expect(response.headers.get('content-range')).toBe(`bytes ${from}-${to - 1}/${size}`)
      expect(response.headers.get('content-length')).toBe(String(to - from))
      expect(body.equals(bytes.subarray(from, to))).toBe(true)
    }
  })

  it('is served whole for ranges that are none or several', async () => {
    for (const range of ['bytes=abc', 'lines=0-1', 'bytes=0-1,4-5']) {
      const { response, body } = await part({ range })
      expect([response.status, body.equals(bytes)]).toEqual([200, true])
    }
  })

  it('refuses a range outside of it', async () => {
    const size = bytes.length
    for (const range of [`bytes=${size}-`, `bytes=${size + 5}-${size + 9}`, 'bytes=-0'])
      await refuses(() => server.ask('GET', path, { headers: { range } }), {
        code: 'range-not-satisfiable',
        status: 416,
        limit: size,
      })
  })

  it('is not sent to who has it, and its head alone to who asks for that', async () => {
    const { response } = await part({})
    const etag = response.headers.get('etag')!
    expect(response.headers.get('cache-control')).toContain('immutable')
    const held = await part({ 'if-none-match': etag })
    expect([held.response.status, held.body.length, held.response.headers.get('etag')]).toEqual([304, 0, etag])
    expect((await part({ 'if-none-match': `W/"x", W/${etag}` })).response.status).toBe(304)
    expect((await part({ 'if-none-match': '"other"' })).response.status).toBe(200)
    expect((await part({ range: 'bytes=0-1', 'if-range': etag })).response.status).toBe(206)
    expect((await part({ range: 'bytes=0-1', 'if-range': '"other"' })).response.status).toBe(200)
    const head = await fetch(`${server.url}/api/v1${path}`, { method: 'HEAD' })
    expect(head.status).toBe(200)
    expect(head.headers.get('content-length')).toBe(String(bytes.length))
    expect(head.headers.get('content-type')).toBe('image/png')
  })
})

describe('slow and broken connections', () => {
  it('that send half a request do not keep the server from answering others', async () => {
    const request: RawRequest = {
      method: 'POST',
      target: `/api/v1/runs/${runId}/frames`,
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(frameOf(10, [code('LIME', 501), code('PLUM', 502)])),
    }
    const whole = requestBytes(new URL(server.url).host, request)
    const slow = await Promise.all(Array.from({ length: 100 }, () => openConnection(server.url)))
    // Cut within the first line, within the headers, and within the body.
    for (const [i, connection] of slow.entries()) connection.write(whole.subarray(0, [9, 60, whole.length - 5][i % 3]))
    const startedMs = performance.now()
    for (let frame = 10; frame < 15; frame += 1) {
      const body = frameOf(frame, [code('LIME', 491 + frame * 2), code('PLUM', 492 + frame * 2)])
      expect((await server.ask('POST', `/runs/${runId}/frames`, { body })).status).toBe(200)
    }
    expect(performance.now() - startedMs).toBeLessThan(10_000)
    // One of them takes heart, and finds its frame answered.
    const late = slow[2]!
    late.write(whole.subarray(whole.length - 5))
    expect(await late.reply()).toMatchObject({ status: 409, json: { code: 'frame-conflict' } })
    for (const connection of slow) connection.close()
    expect((await server.ask('GET', '//healthz')).json).toMatchObject({ alive: true })
    expect((await server.ask('GET', `/runs/${runId}`)).json).toMatchObject({ lastFrame: 14, counts: { frames: 15 } })
  })

  it('that end in the middle of an upload leave nothing of it', async () => {
    const connection = await openConnection(server.url)
    const before = (await server.ask('GET', '/work')).json
    const head = 'content-type: application/zip\r\ncontent-length: 1000000\r\n\r\n'
    connection.write(`POST /api/v1/packages?by=x HTTP/1.1\r\nhost: ${new URL(server.url).host}\r\n${head}`)
    connection.write(Buffer.alloc(200_000))
    await house.uploads(1)
    connection.close()
    await house.uploads(0)
    expect((await server.ask('GET', '/work')).json).toEqual(before)
  })

  it('that speak no HTTP are told so', async () => {
    const connection = await openConnection(server.url)
    connection.write('\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n')
    expect((await connection.reply()).status).toBe(400)
    expect((await server.ask('GET', '//healthz')).status).toBe(200)
  })
})
