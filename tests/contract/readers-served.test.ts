// The built server with readers in its config.json: they listen, they are shown, they are counted; and a stop has its line in the log.
import { once } from 'node:events'
import { mkdir, rm, writeFile } from 'node:fs/promises'
import { type AddressInfo, connect, createServer } from 'node:net'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { code, demand, frameOf, ledgerOf, provedRun, verifyAgainst } from '../fixtures/live-run.ts'
import { type LiveServer, rollcall, startServer, temporaryFolder, until } from '../fixtures/server.ts'

async function freePort(): Promise<number> {
  const server = createServer().listen(0, '127.0.0.1')
  await once(server, 'listening')
  const { port } = server.address() as AddressInfo
  server.close()
  await once(server, 'close')
  return port
}

let folder: string
let server: LiveServer
let port: number
beforeAll(async () => {
  folder = await temporaryFolder('readers')
  const dataFolder = path.join(folder, 'data')
  port = await freePort()
  await mkdir(dataFolder)
  const readers = [{ line: 'L7', lane: 1, port, noRead: 'NOREAD', prefix: '\u0002', delimiter: '\u0003' }]
  await writeFile(
    path.join(dataFolder, 'config.json'),
    JSON.stringify({ readers, pictureStreams: [{ line: 'L7', port: 0 }] }),
  )
  server = await startServer({ dataFolder, logLevel: 'warn' })
})
afterAll(async () => {
  await server.stop()
  await rm(folder, { recursive: true, force: true })
})

const row = async () => (await demand(server.ask('GET', '/readers'))).json.readers[0]

describe('a server with readers', () => {
  it('listens on their ports, on loopback, and shows and counts what comes', async () => {
    const socket = connect(port, '127.0.0.1')
    await once(socket, 'connect')
    socket.write('\u0002NOREAD\u0003what is this\u0003\u0002half')
    await until(async () => (await row()).garbage === 1)
    expect(await row()).toMatchObject({ line: 'L7', port, connected: true, lines: 1, garbage: 1, stray: 1 })
    const { text } = await server.ask('GET', '//metrics')
    expect(text).toContain(`rollcall_reader_connected{line="L7",port="${port}"} 1`)
    expect(text).toContain(`rollcall_reader_lines_total{line="L7",port="${port}",outcome="stray"} 1`)
    socket.destroy()
    await until(async () => !(await row()).connected)
    expect((await row()).garbage).toBe(2)
    expect((await rollcall(server.dataFolder, 'readers')).stdout).toContain(`L7    ${port}  no`)
  })

  it('keeps frames waiting for them, and answers when the web has gone on', async () => {
    const { runId } = await provedRun(server)
    const bare = { frame: 1, positionMm: 30, reads: [{ lane: 2, text: code('PLUM', 2) }] }
    const first = await demand(server.ask('POST', `/runs/${runId}/frames`, { body: bare }))
    expect(first.json).toMatchObject({ answers: [], pending: [1] })
    await demand(server.ask('POST', `/runs/${runId}/frames`, { body: { ...bare, frame: 2, positionMm: 60 } }))
    const { json } = await demand(server.ask('GET', `/runs/${runId}/answers?frame=1`))
    expect(json.answers).toMatchObject([
      { cell: 1, decision: 'skip', flags: ['no-read'] },
      { cell: 2, decision: 'lay' },
    ])
    expect((await row()).places).toMatchObject([{ lane: 1, missing: expect.any(Number) }])
  })

  it('writes one line to its log for a stop, with all that a person needs', async () => {
    const [{ runId }] = (await demand(server.ask('GET', '/runs'))).json.runs
    const body = frameOf(7, [code('LIME', 7, '77'), code('PLUM', 8)], 210)
    await demand(server.ask('POST', `/runs/${runId}/frames`, { body }))
    const lines = (): string[] =>
      server
        .log()
        .split('\n')
        .filter((line) => line.includes('stop asked for'))
    await until(() => lines().length > 0)
    expect(lines()).toHaveLength(1)
    expect(JSON.parse(lines()[0]!)).toMatchObject({
      level: 40,
      run: runId,
      ticket: 'T7',
      roll: 'T7-R1',
      line: 'L7',
      frame: 7,
      cell: 1,
      place: 7,
      positionMm: 210,
      flag: 'print-version-mismatch',
      cause: 'print-version-mismatch/J7/LIME/77',
      design: 'LIME',
      text: code('LIME', 7, '77'),
      mend: expect.stringMatching(/^release a version/),
    })
  })

  it('has all of it in a ledger that verifies', async () => {
    const [{ runId }] = (await demand(server.ask('GET', '/runs'))).json.runs
    const ledger = await ledgerOf(server, runId)
    const frame = ledger.entries.find(({ type, body }) => type === 'frame' && body.frame === 1)
    expect(frame.body).toMatchObject({ awaits: 1, reads: [{ lane: 2 }] })
    const reads = ledger.entries.find(({ type }) => type === 'reads')
    expect(reads.body).toEqual({ frame: 1, reads: [{ lane: 2, text: code('PLUM', 2) }, { lane: 1 }] })
    const verified = await verifyAgainst(ledger, [])
    expect(verified.ok).toBe(true)
  })

  it('does not start on a port that is taken, and says which', async () => {
    const dataFolder = path.join(folder, 'second')
    await mkdir(dataFolder)
    await writeFile(path.join(dataFolder, 'config.json'), JSON.stringify({ readers: [{ line: 'L7', lane: 1, port }] }))
    const { code: exitCode, stderr } = await rollcall(dataFolder, 'serve', '--port', '0')
    expect({ exitCode, stderr }).toMatchObject({ exitCode: 1, stderr: expect.stringContaining('port-in-use') })
    expect(stderr).toContain(`${port}`)
  })

  it('listens for no readers while a single command is carried out', async () => {
    const dataFolder = path.join(folder, 'third')
    await mkdir(dataFolder)
    await writeFile(path.join(dataFolder, 'config.json'), JSON.stringify({ readers: [{ line: 'L7', lane: 1, port }] }))
    expect((await rollcall(dataFolder, 'jobs')).code).toBe(0)
  })
})
