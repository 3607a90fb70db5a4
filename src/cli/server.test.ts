// How commands reach a server: one of their own, the one that holds the data directory, or the one they are told.
import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { createServer, type Server as HttpServer, type RequestListener } from 'node:http'
import type { AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { problemOf } from '../../tests/fixtures/packages.ts'
import { Problem, toProblemDetails } from '../kernel/problem.ts'
import { connect, type Server, type StartServer, withServer } from './server.ts'

let dataFolder: string
const servers: HttpServer[] = []
beforeEach(async () => {
  dataFolder = await mkdtemp(path.join(tmpdir(), 'rollcall-reach-'))
  await mkdir(path.join(dataFolder, 'db'))
})
afterEach(async () => {
  for (const server of servers.splice(0)) await close(server)
  await rm(dataFolder, { recursive: true, force: true })
})

const close = (server: HttpServer) =>
  new Promise<void>((resolve) => {
    server.closeAllConnections()
    server.close(() => resolve())
  })

async function listen(handle: RequestListener): Promise<{ url: string; server: HttpServer }> {
  const server = createServer(handle)
  servers.push(server)
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  return { server, url: `http://127.0.0.1:${(server.address() as AddressInfo).port}` }
}

const json =
  (body: unknown, status = 200): RequestListener =>
  (_request, response) => {
    response.writeHead(status, { 'content-type': 'application/json' })
    response.end(JSON.stringify(body))
  }
const note = (url: string) => writeFile(path.join(dataFolder, 'db/server.json'), JSON.stringify({ url }))
const inUse = async (): Promise<never> => {
  throw new Problem('data-in-use', 'held')
}
const jobs = (server: Server) => server.get<{ jobs: string[] }>('/jobs')

describe('a client', () => {
  it('speaks below the prefix, also where the address ends in a slash', async () => {
    const seen: string[] = []
    const { url } = await listen((request, response) => {
      seen.push(`${request.method} ${request.url} ${request.headers['content-type'] ?? ''}`)
      json({})(request, response)
    })
    await connect(`${url}/`).get('/jobs')
    await connect(url).send('POST', '/runs', { by: 'x' })
    await connect(url).upload('/packages', { bytes: Buffer.from('PK'), mediaType: 'application/zip' })
    expect(seen).toEqual([
      'GET /api/v1/jobs ',
      'POST /api/v1/runs application/json',
      'POST /api/v1/packages application/zip',
    ])
  })

  it('throws a refusal as the problem that the server sent, place and findings too', async () => {
    const findings = [{ code: 'bad-request' as const, message: 'is missing', pointer: '/by' }]
    const sent = new Problem('not-ready', 'one blocker', { measured: 1, limit: 0, findings })
    const { url } = await listen(json({ ...toProblemDetails(sent), instance: '/api/v1/runs' }, 409))
    const problem = await problemOf(connect(url).get('/runs'))
    expect(problem).toMatchObject({ code: 'not-ready', message: 'one blocker', findings })
    expect(problem.place).toEqual({ measured: 1, limit: 0 })
  })

  it('takes an answer that is no problem of ours for a fault', async () => {
    const { url } = await listen(json({ code: 'no-such-code' }, 500))
    expect(await problemOf(connect(url).get('/runs'))).toMatchObject({ code: 'internal' })
  })

  it('names a server that is not there, is no Rollcall, or breaks off', async () => {
    const gone = await listen(json({}))
    await close(gone.server)
    expect(await problemOf(connect(gone.url).get('/jobs'))).toMatchObject({
      code: 'server-unreachable',
      message: expect.stringContaining('ECONNREFUSED'),
    })
    expect(await problemOf(connect('nonsense').get('/jobs'))).toMatchObject({ code: 'server-unreachable' })
    const page = await listen((_request, response) => response.end('<html>'))
    expect(await problemOf(connect(page.url).get('/jobs'))).toMatchObject({ code: 'server-unreachable' })
    const cut = await listen((_request, response) => {
      response.write('half a led', () => response.destroy())
    })
    const body = await connect(cut.url).stream('/runs/x/ledger')
    const readAll = async () => {
      for await (const chunk of body) expect(chunk.length).toBeGreaterThan(0)
    }
    expect(await problemOf(readAll())).toMatchObject({
      code: 'server-unreachable',
      message: expect.stringContaining('broke off'),
    })
  })
})

describe('reaching a server', () => {
  it('starts one for the length of the work, without watching, and closes it whatever happens', async () => {
    const { url } = await listen(json({ jobs: ['own'] }))
    const events: string[] = []
    const start: StartServer = async (options) => {
      events.push(`start ${options.port} ${options.watch}`)
      return { url, close: async () => void events.push('close') }
    }
    expect(await withServer({ dataFolder, start }, jobs)).toEqual({ jobs: ['own'] })
    const failing = withServer({ dataFolder, start }, async () => {
      throw new Problem('usage', 'no')
    })
    expect(await problemOf(failing)).toMatchObject({ code: 'usage' })
    expect(events).toEqual(['start 0 false', 'close', 'start 0 false', 'close'])
  })

  it('talks to the process that holds the directory', async () => {
    const { url } = await listen(json({ jobs: ['held'] }))
    await note(url)
    expect(await withServer({ dataFolder, start: inUse }, jobs)).toEqual({ jobs: ['held'] })
  })

  it('talks to the address given and starts nothing', async () => {
    const { url } = await listen(json({ jobs: ['told'] }))
    const start = (): never => expect.unreachable()
    expect(await withServer({ dataFolder, start, url }, jobs)).toEqual({ jobs: ['told'] })
  })

  it('takes the directory over when its holder has gone meanwhile', async () => {
    const gone = await listen(json({}))
    await close(gone.server)
    await note(gone.url)
    const { url } = await listen(json({ jobs: ['own'] }))
    let tries = 0
    const start: StartServer = async () => {
      tries += 1
      return tries === 1 ? inUse() : { url, close: async () => undefined }
    }
    expect(await withServer({ dataFolder, start }, jobs)).toEqual({ jobs: ['own'] })
    expect(tries).toBe(2)
  })

  it('begins again when the holder goes between the look and the first call, never later', async () => {
    const holder = await listen(json({ jobs: ['held'] }))
    await note(holder.url)
    const own = await listen(json({ jobs: ['own'] }))
    let held = true
    const start: StartServer = async () => (held ? inUse() : { url: own.url, close: async () => undefined })
    const leave = async () => {
      held = false
      await close(holder.server)
    }
    const work = async (server: Server) => {
      if (held) await leave()
      return jobs(server)
    }
    expect(await withServer({ dataFolder, start }, work)).toEqual({ jobs: ['own'] })

    held = true
    const second = await listen(json({ jobs: ['held'] }))
    await note(second.url)
    const interrupted = withServer({ dataFolder, start }, async (server) => {
      await jobs(server)
      held = false
      await close(second.server)
      return jobs(server)
    })
    expect(await problemOf(interrupted)).toMatchObject({ code: 'server-unreachable' })
  })

  it('does not swallow another reason for not starting', async () => {
    const start = async (): Promise<never> => {
      throw new Problem('data-format', 'newer')
    }
    expect(await problemOf(withServer({ dataFolder, start }, jobs))).toMatchObject({ code: 'data-format' })
  })
})
