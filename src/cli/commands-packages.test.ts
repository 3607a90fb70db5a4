// Publishing and releasing in one command: what is sent, and what is said where the release alone is refused.
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { type AskedServer, openAskedServer } from '../../tests/fixtures/asked-server.ts'

let server: AskedServer
let folder: string
const result = { outcome: 'published', job: 'J', package: 1, mended: 0, newVersions: [{}] }
const release = 'POST /packages/J/1/release'
beforeEach(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'rollcall-cli-'))
  server = await openAskedServer()
  server.replies['POST /packages'] = { id: 'w1' }
  server.replies['GET /work/w1'] = { state: 'done', progress: 1, progressNote: '', result }
  server.replies[release] = { released: [{}] }
})
afterEach(async () => {
  await server.close()
  await rm(folder, { recursive: true, force: true })
})

describe('publish --release', () => {
  it('names the second person to the release', async () => {
    expect(await server.cli('publish', folder, '--by', 'Ann', '--release', '--second', 'Bob', '--why', 'seen')).toBe(0)
    expect(server.asked.at(-1)).toEqual({ line: release, body: { by: 'Ann', second: 'Bob', why: 'seen' } })
    expect(server.written().out).toBe('J package 1 published, 1 new version, released\n')
  })

  it('says that the package is published where its release is refused, and how to release it', async () => {
    server.replies[release] = { code: 'second-person-needed', status: 403, detail: 'release takes a second person' }
    expect(await server.cli('publish', folder, '--by', 'Ann', '--release')).toBe(1)
    expect(server.written().err).toBe(
      'rollcall: second-person-needed: release takes a second person; J package 1 published, 1 new version, not released yet: rollcall release J --package 1 --by … --why …\n',
    )
  })
})

describe('with a key', () => {
  it('nobody need be named: the server knows whose it is', async () => {
    expect(await server.cli('publish', folder, '--release', '--key', 'rck-a')).toBe(0)
    expect(server.asked.map(({ line }) => line)).toEqual(['POST /packages', 'GET /work/w1', release])
    expect(server.asked.at(-1)?.body).toEqual({ why: 'released on publishing' })
    expect(await server.cli('publish', folder)).toBe(2)
    expect(server.written().err).toContain('--by <name>')
  })

  it.each([
    ['release J --package 1 --why w', release, { why: 'w' }],
    ['seal R.1', 'POST /runs/R.1/seal', {}],
    ['change-ticket R.1 T --why w', 'POST /runs/R.1/ticket', { ticket: 'T', why: 'w' }],
    ['run --ticket T --line L', 'POST /runs', { ticket: 'T', line: 'L' }],
  ])('%s is sent in nobody’s name', async (words, line, body) => {
    const counts = { frames: 0, labels: 0, lay: 0, skip: 0, stop: 0, setup: 0, revoked: 0, flags: {} }
    const view = { runId: 'R.1', ticket: 'T', tickets: ['T'], roll: 'R', line: 'L', state: 'open', counts, causes: [] }
    for (const target of ['POST /runs/R.1/seal', 'POST /runs/R.1/ticket', 'POST /runs']) server.replies[target] = view
    expect(await server.cli(...words.split(' '), '--key', 'rck-a')).toBe(0)
    expect(server.asked).toEqual([{ line, body }])
  })
})
