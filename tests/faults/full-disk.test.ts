// The running server on a disk that fills up: nothing is answered that is not recorded, what was answered can still be read, and the
// run goes on when there is room, with or without a restart.
import { execFileSync } from 'node:child_process'
import { mkdtemp, readdir, rm, rmdir, statfs, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it, type TestContext } from 'vitest'
import type { Answer, FrameEvent } from '../../src/runs/index.ts'
import {
  code,
  demand,
  frameOf,
  labelsAnswered,
  ledgerOf,
  lineProfile,
  pictureOf,
  provedRun,
  ticketOf,
  verifyAgainst,
} from '../fixtures/live-run.ts'
import { openConnection } from '../fixtures/raw-http.ts'
import { type LiveServer, rollcall, startServer, until } from '../fixtures/server.ts'

let disk: string
let mounted: boolean
let server: LiveServer | undefined

beforeEach(async () => {
  disk = await mkdtemp(join(tmpdir(), 'rollcall-full-'))
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=24m', 'tmpfs', disk], { stdio: 'pipe' })
    mounted = true
  } catch {
    mounted = false
  }
})
afterEach(async () => {
  await server?.kill()
  server = undefined
  if (mounted) execFileSync('umount', ['--lazy', disk])
  await rmdir(disk)
})

function needDisk(ctx: TestContext): void {
  if (!mounted) ctx.skip('needs the right to mount a small tmpfs (root)')
}

const start = async (): Promise<LiveServer> => {
  server = await startServer({ dataFolder: join(disk, 'data') })
  return server
}

const freeBytes = async (): Promise<number> => {
  const { bavail, bsize } = await statfs(disk)
  return bavail * bsize
}

const ballast = (): string => join(disk, 'ballast')
const leaveRoom = async (bytes: number): Promise<void> =>
  writeFile(ballast(), Buffer.alloc((await freeBytes()) - bytes))
const fillUp = (): Promise<void> => writeFile(join(disk, 'rest'), Buffer.alloc(32_000_000)).catch(() => undefined)
async function makeRoom(): Promise<void> {
  for (const name of ['ballast', 'rest']) await rm(join(disk, name), { force: true })
}

interface Feed {
  readonly received: Map<string, string>
  next(): FrameEvent[]
  keep(answers: readonly Answer[]): void
  answers(): Answer[]
}

function openFeed(): Feed {
  let frame = 0
  const received = new Map<string, string>()
  return {
    received,
    next: () =>
      Array.from({ length: 5 }, () => {
        frame += 1
        return frameOf(frame, [code('LIME', frame * 2), code('PLUM', frame * 2 + 1)])
      }),
    keep(answers) {
      for (const answer of answers) {
        const text = JSON.stringify(answer)
        expect(received.get(`${answer.frame}/${answer.cell}`) ?? text).toBe(text)
        received.set(`${answer.frame}/${answer.cell}`, text)
      }
    },
    answers: () => [...received.values()].map((text) => JSON.parse(text) as Answer),
  }
}

const full = { status: 507, json: { code: 'data-full', retry: 'later' } }

/** Sends frames until one request is refused, which must be for want of room; returns its events. */
async function feedUntilFull(live: LiveServer, runId: string, feed: Feed): Promise<FrameEvent[]> {
  for (;;) {
    const batch = feed.next()
    const reply = await live.ask('POST', `/runs/${runId}/frames`, { body: batch })
    if (reply.status !== 200) {
      expect(reply).toMatchObject(full)
      expect(reply.json.answers).toBeUndefined()
      return batch
    }
    feed.keep(reply.json.answers)
  }
}

async function expectSound(live: LiveServer, runId: string, feed: Feed): Promise<void> {
  const ledger = await ledgerOf(live, runId)
  expect(await verifyAgainst(ledger, feed.answers())).toMatchObject({
    ok: true,
    compared: { answers: feed.received.size },
  })
  expect(labelsAnswered(ledger).filter((label) => !label.startsWith('0/'))).toEqual([...feed.received.keys()])
}

it('answers nothing on a full disk but what was answered before, and goes on without a restart', async (ctx) => {
  needDisk(ctx)
  const live = await start()
  const { runId } = await provedRun(live)
  const target = `/runs/${runId}/frames`
  const feed = openFeed()
  await leaveRoom(300_000)
  const refused = await feedUntilFull(live, runId, feed)
  await fillUp()

  // Many in one breath: the failed run is opened again once, for all of them.
  const line = await openConnection(live.url)
  const views = await Promise.all(
    Array.from({ length: 8 }, () => line.send({ method: 'GET', target: `/api/v1/runs/${runId}` })),
  )
  for (const view of views) expect(view, view.text).toMatchObject({ status: 200, json: { state: 'open' } })
  line.close()
  // And from a controller that tries again.
  const tries = await Promise.all(Array.from({ length: 8 }, () => live.ask('POST', target, { body: refused })))
  for (const reply of tries) expect(reply).toMatchObject(full)
  await expectSound(live, runId, feed)
  expect((await live.ask('GET', `/runs/${runId}`)).json).toMatchObject({
    state: 'open',
    lastFrame: refused[0]!.frame - 1,
    counts: { labels: feed.received.size + 2 },
  })
  expect((await live.ask('GET', `/runs/${runId}/answers?frame=${refused[0]!.frame}`)).status).toBe(404)
  // Repeats need no room.
  const repeat = frameOf(1, [code('LIME', 2), code('PLUM', 3)])
  const again = await live.ask('POST', target, { body: repeat })
  expect(again.status).toBe(200)
  feed.keep(again.json.answers)

  await makeRoom()
  const replies = await Promise.all(Array.from({ length: 8 }, () => live.ask('POST', target, { body: refused })))
  for (const reply of replies) {
    expect(reply.status, reply.text).toBe(200)
    feed.keep(reply.json.answers)
  }
  await expectSound(live, runId, feed)
}, 120_000)

it('brings a recall to a run whose last commit failed', async (ctx) => {
  needDisk(ctx)
  const live = await start()
  const { runId } = await provedRun(live)
  const feed = openFeed()
  await leaveRoom(300_000)
  const refused = await feedUntilFull(live, runId, feed)
  await makeRoom()
  const body = { by: 'QA', why: 'wrong dose' }
  const { json } = await demand(live.ask('POST', '/jobs/J7/designs/PLUM/versions/1/withdraw', { body }))
  const labels = { revoked: { labels: refused[0]!.frame }, passed: { labels: 0 } }
  expect(json).toMatchObject({ outcome: 'withdrawn', runs: [{ runId, revoked: refused[0]!.frame, labels }] })
  const { json: page } = await demand(live.ask('POST', `/runs/${runId}/frames`, { body: refused }))
  const plums = (page.answers as Answer[]).filter(({ cell }) => cell === 2)
  for (const answer of plums) expect(answer).toMatchObject({ decision: 'skip', flags: ['withdrawn'] })
  expect((await live.ask('GET', `/runs/${runId}`)).json).toMatchObject({ state: 'stopped' })
}, 120_000)

it('leaves nothing behind of a picture, an upload, a ticket and a run that found no room', async (ctx) => {
  needDisk(ctx)
  const live = await start()
  const { runId } = await provedRun(live)
  await fillUp()
  const raw = await pictureOf([code('LIME', 1), code('PLUM', 2)])
  const headers = { 'content-type': 'image/png' }
  const capture = `/runs/${runId}/captures?frame=1&positionMm=30`
  expect(await live.ask('POST', capture, { raw, headers })).toMatchObject(full)
  const zip = { raw: Buffer.alloc(2_000_000), headers: { 'content-type': 'application/zip' } }
  expect(await live.ask('POST', '/packages?by=tester', zip)).toMatchObject(full)
  const files = await readdir(join(disk, 'data'), { recursive: true })
  expect(files.filter((file) => /^(captures|spool)\/.*\./.test(file) && !file.endsWith(runId))).toEqual([])
  // Small writes may find room within what the database has; enough of them do not.
  let stored = 0
  for (let reply = { status: 200 }; reply.status === 200; stored += 1)
    reply = await live.ask('PUT', `/tickets/T${stored}`, { body: ticketOf(`T${stored}`) })
  const { json: names } = await live.ask('GET', '/names')
  expect(names.tickets.length).toBe(stored)
  const order = { ticket: 'T7', line: lineProfile().line, by: 'lead' }
  const opened = await live.ask('POST', '/runs', { body: order })
  expect(opened).toMatchObject(full)
  expect((await live.ask('GET', '/runs')).json.runs).toMatchObject([{ runId }])

  await makeRoom()
  const { json: run } = await demand(live.ask('POST', '/runs', { body: order }))
  expect(run).toMatchObject({ runId: 'T7.2', state: 'ready' })
  await demand(live.ask('POST', capture, { raw, headers }))
  await until(async () => (await live.ask('GET', `/runs/${runId}/answers?frame=1`)).json.answers.length === 2)
}, 120_000)

it('refuses to start on a full disk with the reason, and finds everything when there is room again', async (ctx) => {
  needDisk(ctx)
  const live = await start()
  const { runId } = await provedRun(live)
  const feed = openFeed()
  await leaveRoom(300_000)
  const refused = await feedUntilFull(live, runId, feed)
  await fillUp()
  await live.kill()
  const { code: exit, stderr } = await rollcall(join(disk, 'data'), 'serve', '--port', '0', '--log-level', 'silent')
  expect(stderr).toContain('rollcall: data-full')
  expect(exit).toBe(1)
  await makeRoom()
  const later = await start()
  const { json } = await demand(later.ask('POST', `/runs/${runId}/frames`, { body: refused }))
  feed.keep(json.answers)
  await expectSound(later, runId, feed)
}, 120_000)
