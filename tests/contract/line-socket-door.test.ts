// Who gets a WebSocket at all: keys and roles as over HTTP, hosts and pages, what is offered, and keys that end meanwhile.
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest'
import { subprotocol } from '../../src/protocol/index.ts'
import { type KeyedHouse, openKeyedHouse } from '../fixtures/keyed-house.ts'
import {
  type BareController,
  type ConnectOptions,
  connectLine,
  opened,
  openLineHouse,
  refusalOf,
} from '../fixtures/line-house.ts'
import { openConnection, type RawReply } from '../fixtures/raw-http.ts'

let house: KeyedHouse
beforeAll(async () => {
  house = await openKeyedHouse()
})
afterAll(() => house.bench.close())

const connect = (runId: string, options: ConnectOptions = {}): BareController =>
  connectLine(house.bench.url, runId, options)

const hello = (controller: string) => ({ type: 'hello', protocol: 1, controller, after: -1 })

async function refused(controller: BareController): Promise<[string, number]> {
  const { problem } = await controller.got('problem')
  return [problem.code, await controller.ended()]
}

async function welcomed(controller: BareController): Promise<boolean> {
  await opened(controller)
  controller.send(hello('press'))
  const { runId } = await controller.got('welcome')
  controller.send({ type: 'bye' })
  await controller.ended()
  return runId === house.runs.L7
}

describe('a key', () => {
  it('of the line, or of an admin, gets the WebSocket of a run', async () => {
    expect(await welcomed(connect(house.runs.L7, { key: house.keys.line }))).toBe(true)
    expect(await welcomed(connect(house.runs.L7, { key: house.keys.admin }))).toBe(true)
  })

  it('may come as a subprotocol, which is never chosen', async () => {
    const protocols = [subprotocol, `rollcall.key.${house.keys.line}`]
    const controller = connect(house.runs.L7, { protocols })
    expect(await welcomed(controller)).toBe(true)
    expect(controller.socket.protocol).toBe(subprotocol)
  })

  it.each([
    ['none', undefined, 'unauthorized', 4401],
    ['that of another line', 'other-line', 'forbidden', 4403],
    ['that of prepress', 'prepress', 'forbidden', 4403],
    ['that of qa', 'qa', 'forbidden', 4403],
  ] as const)('that is %s gets a problem and nothing else', async (_, name, code, closedWith) => {
    const controller = connect(house.runs.L7, name === undefined ? {} : { key: house.keys[name] })
    expect(await refused(controller)).toEqual([code, closedWith])
    expect(controller.messages).toHaveLength(1)
  })

  it('that is no good is counted as over HTTP', async () => {
    const bad = `${house.keys.line.slice(0, -1)}${house.keys.line.endsWith('0') ? '1' : '0'}`
    for (let i = 0; i < 10; i++)
      expect(await refused(connect(house.runs.L7, { key: bad }))).toEqual(['unauthorized', 4401])
    expect(await refused(connect(house.runs.L7, { key: bad }))).toEqual(['too-many-tries', 4429])
    expect((await house.ask(bad, 'GET', '/runs')).status).toBe(429)
    expect(await welcomed(connect(house.runs.L7, { key: house.keys.line }))).toBe(true)
    house.pass(60_000)
  })

  it('learns of no run of another line, also of none that does not exist', async () => {
    expect(await refused(connect('T9.1', { key: house.keys.line }))).toEqual(['forbidden', 4403])
    expect(await refused(connect('T9.1', { key: house.keys.admin }))).toEqual(['run-not-found', 4404])
    expect(await refused(connect('x'.repeat(300), { key: house.keys.admin }))).toEqual(['bad-request', 4400])
  })

  it('that is revoked or expires ends the connection at the next message', async () => {
    const { id, key } = await house.keyOf('L. Line', 'line', 'L7')
    const controller = connect(house.runs.L7, { key })
    await opened(controller)
    controller.send(hello('press'))
    await controller.got('welcome')
    await house.bench.parts.keys.revokeKey(id, 'A. Admin')
    controller.send({ type: 'heartbeat' })
    expect(await refused(controller)).toEqual(['unauthorized', 4401])
  })
})

describe('a page of another site', () => {
  it('gets no connection, whatever key its browser has', async () => {
    const protocols = [subprotocol, `rollcall.key.${house.keys.admin}`]
    for (const headers of [{ origin: 'http://elsewhere.example' }, { host: 'elsewhere.example' }]) {
      const { status, text } = await refusalOf(connect(house.runs.L7, { protocols, headers }))
      expect([status, JSON.parse(text).code]).toEqual([403, 'foreign-origin'])
    }
  })

  it('is none where the page is one of ours', async () => {
    const headers = { origin: house.bench.url }
    expect(await welcomed(connect(house.runs.L7, { key: house.keys.line, headers }))).toBe(true)
  })
})

const upgrade = {
  connection: 'Upgrade',
  upgrade: 'websocket',
  'sec-websocket-version': '13',
  'sec-websocket-key': 'AAAAAAAAAAAAAAAAAAAAAA==',
}

/** One request by hand; its reply, and whether the server then closed the connection. */
async function raw(method: string, target: string, headers: Record<string, string>): Promise<RawReply> {
  const connection = await openConnection(house.bench.url)
  const authorization = `Bearer ${house.keys.admin}`
  return connection.send({ method, target, headers: { authorization, ...headers } }).finally(() => connection.close())
}

describe('what offers no WebSocket of ours', () => {
  const line = () => `/api/v1/runs/${house.runs.L7}/line`

  it.each([
    ['no upgrade', {}],
    ['no subprotocol', upgrade],
    ['another subprotocol', { ...upgrade, 'sec-websocket-protocol': 'rollcall.line.2, chat' }],
    [
      'another version of WebSocket',
      { ...upgrade, 'sec-websocket-version': '8', 'sec-websocket-protocol': subprotocol },
    ],
    ['another protocol', { ...upgrade, upgrade: 'h2c', 'sec-websocket-protocol': subprotocol }],
  ] as [string, Record<string, string>][])('is told what it takes: %s', async (_, headers) => {
    const { status, json, headers: got } = await raw('GET', line(), headers)
    expect([status, json.code, json.limit, got.get('upgrade')]).toEqual([
      426,
      'upgrade-required',
      subprotocol,
      'websocket',
    ])
  })

  it('is told of a key first', async () => {
    const { status, json } = await raw('GET', line(), { ...upgrade, authorization: 'Bearer none' })
    expect([status, json.code]).toEqual([401, 'unauthorized'])
  })

  it('is answered on other addresses as if it had not asked', async () => {
    expect((await raw('GET', '/healthz', { ...upgrade, upgrade: 'h2c' })).json.alive).toBe(true)
    expect(
      (await raw('GET', '/api/v1/runs', { ...upgrade, 'sec-websocket-protocol': subprotocol })).json.runs,
    ).toHaveLength(2)
  })

  it('with a body is refused, since the body would never come', async () => {
    expect((await raw('POST', line(), upgrade)).status).toBe(400)
  })

  it('and breaks off leaves the server as it was', async () => {
    for (const bytes of [
      '',
      'GET',
      `GET ${line()} HTTP/1.1\r\nHost: localhost\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\r\n`,
    ]) {
      const connection = await openConnection(house.bench.url)
      connection.write(bytes)
      connection.close()
    }
    const broken = { ...upgrade, 'sec-websocket-key': 'short', 'sec-websocket-protocol': subprotocol }
    expect((await raw('GET', line(), broken)).status).toBe(400)
    expect(await welcomed(connect(house.runs.L7, { key: house.keys.line }))).toBe(true)
    expect(house.bench.logged).toEqual([])
  })
})

describe('where no key was made yet', () => {
  it('everybody on this machine gets the WebSocket, until the first one is made; nobody through a proxy does', async () => {
    const own = await openLineHouse()
    onTestFinished(() => own.close())
    const runId = await own.provedRun('N1')
    const forwarded = own.connect(runId, { headers: { 'x-forwarded-for': '192.0.2.1' } })
    expect(await refused(forwarded)).toEqual(['unauthorized', 4401])
    const controller = await own.join(runId)
    const { text: key } = await own.bench.parts.keys.createKey({ role: 'line', line: 'L7', createdBy: 'test' })
    controller.send({ type: 'heartbeat' })
    expect(await refused(controller)).toEqual(['unauthorized', 4401])
    await own.join(runId, {}, { key })
  })

  it('a connection that says nothing loses its run all the same, at the next heartbeat', async () => {
    const own = await openLineHouse()
    onTestFinished(() => own.close())
    const controller = await own.join(await own.provedRun('N2'))
    await own.bench.parts.keys.createKey({ role: 'line', line: 'L7', createdBy: 'test' })
    own.held.advance(1_000)
    expect(await refused(controller)).toEqual(['unauthorized', 4401])
  })
})
