// Keys on the machine itself: the built program with and without a running server, and a server that is let beyond loopback.
import { readFile, rm, stat, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openConnection } from '../fixtures/raw-http.ts'
import { type LiveServer, rollcall, startServer, temporaryFolder } from '../fixtures/server.ts'

let data: string
const folders: string[] = []
async function folder(): Promise<string> {
  const made = await temporaryFolder('people')
  folders.push(made)
  return path.join(made, 'data')
}
beforeAll(async () => {
  data = await folder()
})
afterAll(async () => {
  for (const made of folders) await rm(made, { recursive: true, force: true })
})

const words = (line: string, ...rest: string[]): string[] => [...line.split(' '), ...rest]
async function ok(line: string, ...rest: string[]): Promise<string> {
  const { code, stdout, stderr } = await rollcall(data, ...words(line, ...rest))
  expect(code, stderr).toBe(0)
  return stdout
}
async function refused(line: string, ...rest: string[]): Promise<string> {
  const { code, stdout, stderr } = await rollcall(data, ...words(line, ...rest))
  expect([code, stdout]).toEqual([1, ''])
  return stderr
}
const keyIn = (text: string): string => /rck-[0-9a-z]{8}-[0-9a-z]{36}/.exec(text)?.[0] ?? expect.unreachable(text)
/** Asks for the jobs under headers that fetch would not send. */
async function statusOf(url: string, headers: Record<string, string>): Promise<number> {
  const connection = await openConnection(url)
  const { status } = await connection.send({ method: 'GET', target: '/api/v1/jobs', headers }).finally(connection.close)
  return status
}
const idOf = (key: string): string => key.split('-')[1] ?? ''

describe('key', () => {
  let admin: string
  it('create makes the first key without a server, and shows it this once', async () => {
    expect(await ok('key list')).toContain('No key was made yet')
    const text = await ok('key create --role admin --expires 90d --by', 'I. T.')
    admin = keyIn(text)
    expect(text).toContain('shown this once')
    const listed = await ok('key list')
    expect(listed).toMatch(new RegExp(`^${idOf(admin)} +admin +active .*I\\. T\\.`, 'm'))
    expect(listed).not.toContain(admin.split('-')[2])
    for (const file of ['db/catalogue.sqlite', 'db/catalogue.sqlite-wal']) {
      const bytes = await readFile(path.join(data, file)).catch(() => Buffer.alloc(0))
      expect(bytes.includes(admin.split('-')[2] ?? '')).toBe(false)
    }
  })

  it('commands go on without one on this machine, and act with the one that they are given', async () => {
    const qa = keyIn(await ok('key create --role qa'))
    expect(await ok('jobs')).toContain('No job is published yet')
    expect(await ok('jobs --key', qa)).toContain('No job is published yet')
    expect(await refused('key list --key', qa)).toContain('forbidden')
    expect(await refused('jobs --key', 'rck-wrong')).toContain('unauthorized')
    await ok('key revoke --yes', qa)
    expect(await refused('jobs --key', qa)).toMatch(/unauthorized: .*was revoked/)
    expect(await ok('key revoke --yes', idOf(qa))).toContain('was revoked already')
  })

  describe('with a running server', () => {
    let server: LiveServer
    beforeAll(async () => {
      server = await startServer({ dataFolder: data })
    })
    afterAll(() => server.stop())

    it('is asked of everybody else, from the first request on', async () => {
      const reply = await server.ask('GET', '/jobs')
      expect([reply.status, reply.json.code]).toEqual([401, 'unauthorized'])
      expect((await server.ask('GET', '/jobs', { headers: { authorization: `Bearer ${admin}` } })).status).toBe(200)
    })

    it('is the local one for commands of whoever can read the data directory', async () => {
      const file = path.join(data, 'keys/local.key')
      expect((await stat(file)).mode & 0o777).toBe(0o600)
      expect(await ok('jobs')).toContain('No job')
      expect(await ok('jobs --url', server.url)).toContain('No job')
      const elsewhere = await rollcall(await folder(), 'jobs', '--url', server.url)
      expect(elsewhere.stderr).toContain('unauthorized')
    })

    it('is made and revoked there, at once', async () => {
      const key = keyIn(await ok('key create --role line --line L7 --person', 'F. Lead'))
      const headers = { authorization: `Bearer ${key}` }
      expect((await server.ask('GET', '/runs', { headers })).status).toBe(200)
      expect(await ok('key list')).toMatch(/ line +F\. Lead +L7 +active/)
      await ok('key revoke --yes', idOf(key))
      expect((await server.ask('GET', '/runs', { headers })).status).toBe(401)
    })
  })

  it('that is local goes with its server', async () => {
    expect(await readFile(path.join(data, 'keys/local.key'), 'utf8').catch(() => 'gone')).toBe('gone')
  })
})

// 127.0.0.2 stands for an address of the network: no part of the loopback that is known by name, and still only of this machine.
const beyond = '127.0.0.2'

describe('a server beyond loopback', () => {
  it('does not start without an active key of role admin, and says how to make one', async () => {
    data = await folder()
    const stderr = await refused('serve --port 0 --host', beyond)
    expect(stderr).toContain('listen-beyond-loopback')
    expect(stderr).toContain('rollcall key create --role admin')
    await ok('key create --role qa')
    expect(await refused('serve --port 0 --host', beyond)).toContain('listen-beyond-loopback')
    await writeFile(path.join(data, 'config.json'), JSON.stringify({ hosts: ['rollcall.plant.example'] }))
    expect(await refused('serve --port 0')).toContain('rollcall.plant.example is beyond loopback')
    const lost = keyIn(await ok('key create --role admin'))
    await ok('key revoke --yes', idOf(lost))
    expect(await refused('serve --port 0')).toContain('listen-beyond-loopback')
  })

  it('listens with one, asks everybody for a key, and answers to its names alone', async () => {
    const admin = keyIn(await ok('key create --role admin'))
    const server = await startServer({ dataFolder: data, environment: { ROLLCALL_HOST: beyond } })
    try {
      const { port, hostname } = new URL(server.url)
      expect(hostname).toBe(beyond)
      const authorization = `Bearer ${admin}`
      const status = (headers: Record<string, string>) => statusOf(server.url, { authorization, ...headers })
      for (const host of [
        `${beyond}:${port}`,
        `localhost:${port}`,
        'rollcall.plant.example',
        'ROLLCALL.plant.example:443',
      ])
        expect(await status({ host }), host).toBe(200)
      for (const host of ['evil.example', 'rollcall.plant.example.evil.example', '127.0.0.3', '0.0.0.0', ''])
        expect(await status({ host }), host).toBe(403)
      const host = 'rollcall.plant.example'
      expect(await status({ host, origin: `https://${host}` })).toBe(200)
      expect(await status({ host, origin: 'https://evil.example' })).toBe(403)
      expect(await status({ host: `${beyond}:${port}`, origin: `https://${beyond}:${port}` })).toBe(403)
      expect((await server.ask('GET', '/jobs')).status).toBe(401)
      expect(await ok('jobs')).toContain('No job')
    } finally {
      await server.stop()
    }
  })
})
