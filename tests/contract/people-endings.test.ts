// A key that ends while the body of its request is on the way, and who may hold up the reading of a line's pictures.
import { readdir } from 'node:fs/promises'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { type KeyedHouse, openKeyedHouse } from '../fixtures/keyed-house.ts'
import { type Connection, openConnection } from '../fixtures/raw-http.ts'

let house: KeyedHouse
let connections: Connection[]
beforeEach(async () => {
  connections = []
  house = await openKeyedHouse()
})
afterEach(async () => {
  vi.restoreAllMocks()
  for (const connection of connections) connection.close()
  await house.bench.close()
})

/** Sends a request whose body comes only when the key was looked at and `meanwhile` is done. */
async function askSlowly(
  key: string,
  { target, type, body }: { target: string; type: string; body: string },
  meanwhile: () => Promise<unknown>,
): Promise<{ status: number; detail: string }> {
  const { parts, url } = house.bench
  const connection = await openConnection(url)
  connections.push(connection)
  const check = parts.keys.checkKey
  const looked = new Promise<void>((resolve) => {
    vi.spyOn(parts.keys, 'checkKey').mockImplementation((text) => {
      resolve()
      return check(text)
    })
  })
  const rows = [
    `POST /api/v1${target} HTTP/1.1`,
    `Host: ${new URL(url).host}`,
    `Authorization: Bearer ${key}`,
    `Content-Type: ${type}`,
    `Content-Length: ${Buffer.byteLength(body)}`,
  ]
  connection.write(`${rows.join('\r\n')}\r\n\r\n`)
  await looked
  await meanwhile()
  connection.write(body)
  const { status, json } = await connection.reply()
  return { status, detail: json?.detail }
}

/** Everything that a request could have left behind. */
async function traces(): Promise<unknown> {
  const { parts } = house.bench
  const run = await parts.runs.get(house.runs.L7)
  return {
    entries: run.durableSize,
    work: (await parts.queue.list({ count: 1_000 })).map(({ id }) => id),
    spooled: await readdir(parts.spoolFolder),
    keys: parts.keys.listKeys().length,
    jobs: [...parts.catalogue.current().jobs.keys()],
  }
}

const json = 'application/json'
const slow = {
  act: { target: '/runs/{run}/proving', type: json, body: '{"by":"A. Admin"}' },
  key: { target: '/keys', type: json, body: '{"role":"admin"}' },
  capture: { target: '/runs/{run}/captures?frame=0&positionMm=0', type: 'image/png', body: 'a picture' },
  check: { target: '/packages/check', type: 'application/zip', body: 'a package' },
  publish: { target: '/packages?by=A.%20Admin', type: 'application/zip', body: 'a package' },
  sequence: { target: '/sequences', type: 'text/csv', body: 'position,cell,code\n1,1,x\n' },
} as const
const requestFor = (name: keyof typeof slow) => ({
  ...slow[name],
  target: slow[name].target.replace('{run}', house.runs.L7),
})

describe('a key that ends while the body is on its way', () => {
  it.each(Object.keys(slow) as (keyof typeof slow)[])('does nothing any more: %s', async (name) => {
    const lead = { by: 'F. Lead' }
    if (name === 'capture') await house.ask(house.keys.admin, 'POST', `/runs/${house.runs.L7}/proving`, { body: lead })
    const { id, key } = await house.keyOf('A. Admin', 'admin')
    const before = await traces()
    const reply = await askSlowly(key, requestFor(name), () => house.bench.parts.keys.revokeKey(id, 'test'))
    expect(reply).toEqual({ status: 401, detail: expect.stringContaining('was revoked') })
    expect(await traces()).toEqual(before)
  })

  it('does as little when it expires', async () => {
    const { keys, clock } = house.bench.parts
    const { text } = await keys.createKey({ role: 'admin', createdBy: 'test', expiresAtMs: clock.nowMs() + 1_000 })
    const reply = await askSlowly(text, requestFor('act'), async () => house.pass(1_000))
    expect(reply).toEqual({ status: 401, detail: expect.stringContaining('has expired') })
  })

  it('is tried here on every route that reads its body itself', async () => {
    const { paths } = (await house.bench.ask('GET', '/api/v1/openapi.json')).json
    const routes = Object.entries(paths as Record<string, Record<string, { requestBody?: { content: object } }>>)
    const own = routes.filter(([, methods]) =>
      Object.values(methods).some(({ requestBody }) =>
        Object.keys(requestBody?.content ?? {}).some((media) => media !== json),
      ),
    )
    const tried = Object.values(slow).filter(({ type }) => type !== json)
    const pathOf = (target: string) => `/api/v1${target.replace('{run}', '{runId}').split('?')[0]}`
    expect(own.map(([at]) => at).toSorted()).toEqual(tried.map(({ target }) => pathOf(target)).toSorted())
  })
})

describe('the reading of a picture', () => {
  let work: string
  beforeEach(async () => {
    // What waits now waits for good.
    await house.bench.parts.queue.close()
    await house.ask(house.keys.line, 'POST', `/runs/${house.runs.L7}/proving`, { body: { by: 'F. Lead' } })
    const target = `/runs/${house.runs.L7}/captures?frame=0&positionMm=0`
    const picture = { raw: 'a picture', headers: { 'content-type': 'image/png' } }
    const { json: taken } = await house.ask(house.keys.line, 'POST', target, picture)
    expect(taken.pending).toEqual([0])
    work = `/work/${encodeURIComponent(`read:${house.runs.L7}:0`)}`
  })
  const asked = async (key: string, act: 'cancel' | 'requeue'): Promise<unknown> => {
    const reply = await house.ask(key, 'POST', `${work}/${act}`)
    return reply.json.code ?? reply.json.state
  }
  const flags = async (): Promise<unknown> => {
    const { json: page } = await house.ask(house.keys.line, 'GET', `/runs/${house.runs.L7}/answers?frame=0`)
    return page.answers.map((answer: { flags: string[] }) => answer.flags)
  }

  it('is cancelled and put back by an admin alone', async () => {
    const { admin, prepress, line } = house.keys
    for (const key of [prepress, line]) expect(await asked(key, 'cancel')).toBe('forbidden')
    expect(await flags()).toEqual([])
    expect(await asked(admin, 'cancel')).toBe('cancelled')
    for (const key of [prepress, line]) expect(await asked(key, 'requeue')).toBe('forbidden')
    expect(await asked(admin, 'requeue')).toBe('waiting')
  })

  it('that is cancelled leaves a frame without reads, and holds up nothing', async () => {
    expect(await asked(house.keys.admin, 'cancel')).toBe('cancelled')
    expect(await flags()).toEqual([['no-read'], ['no-read']])
    const closed = await house.ask(house.keys.line, 'POST', `/runs/${house.runs.L7}/close`, { body: { by: 'F. Lead' } })
    expect(closed.json.state).toBe('closing')
    expect(await asked(house.keys.admin, 'cancel')).toBe('work-state')
  })

  it('is not what prepress is kept from elsewhere', async () => {
    await house.bench.parts.queue.enqueue({ id: 'idle', kind: 'idle', payload: {} })
    work = '/work/idle'
    expect(await asked(house.keys.prepress, 'cancel')).toBe('cancelled')
    expect(await asked(house.keys.prepress, 'requeue')).toBe('waiting')
  })
})
