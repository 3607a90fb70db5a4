// The server is killed with SIGKILL at random moments of a run. What was answered stays as it was answered; what was not is asked again.
import { rm } from 'node:fs/promises'
import { join } from 'node:path'
import Sqlite from 'better-sqlite3'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { randomFrom } from '../drawn-symbols.ts'
import { type Controller, openController } from '../fixtures/controller.ts'
import {
  code,
  demand,
  frameOf,
  type LedgerText,
  labelsAnswered,
  ledgerOf,
  provedRun,
  verifyAgainst,
} from '../fixtures/live-run.ts'
import { type LiveServer, startServer, temporaryFolder } from '../fixtures/server.ts'

const kills = 20

let folder: string
let server: LiveServer
beforeEach(async () => {
  folder = await temporaryFolder('kill')
  server = await startServer({ dataFolder: join(folder, 'data') })
})
afterEach(async () => {
  await server.kill()
  await rm(folder, { recursive: true, force: true })
})

const restart = async (): Promise<void> => {
  server = await startServer({ dataFolder: join(folder, 'data') })
}

/** Kills the server so many ms from now, to a fraction of a millisecond, while replies go on being taken in. */
async function killAfter(ms: number): Promise<void> {
  const at = performance.now() + ms
  while (performance.now() < at) await new Promise((resolve) => setImmediate(resolve))
  await server.kill()
}

const framesIn = ({ entries }: LedgerText): Set<number> =>
  new Set(entries.filter(({ type }) => type === 'frame').map(({ body }) => body.frame))

/**
 * Of the batches without a reply, how many the ledger has all the same. None is there in part, save for a first frame, which the
 * controller may have sent alone as well.
 */
function recordedOf(controller: Controller, ledger: LedgerText): number {
  const frames = framesIn(ledger)
  const there = controller.unanswered.map((batch) => batch.map(({ frame }) => frames.has(frame)))
  for (const [, ...rest] of there) expect(new Set(rest).size).toBeLessThanOrEqual(1)
  return there.filter((flags) => flags.at(-1)).length
}

async function expectWhole(controller: Controller, ledger: LedgerText): Promise<void> {
  const answers = controller.answers()
  const verdict = await verifyAgainst(ledger, answers)
  expect(verdict, JSON.stringify(verdict)).toMatchObject({ ok: true, compared: { answers: answers.length } })
  const labels = [...controller.events.keys()].flatMap((frame) => [`${frame}/1`, `${frame}/2`])
  expect([...controller.received.keys()].toSorted()).toEqual(labels.toSorted())
  expect(labelsAnswered(ledger).toSorted()).toEqual(['0/1', '0/2', ...labels].toSorted())
  const laid = ledger.entries.filter(({ type }) => type === 'laid').map(({ body }) => body)
  expect(laid.length).toBe(new Set(laid.map(({ frame, cell }) => `${frame}/${cell}`)).size)
  const words = new Map(laid.map(({ frame, cell, laid: word }) => [`${frame}/${cell}`, word]))
  for (const [label, word] of controller.reported) expect(words.get(label)).toBe(word)
}

/** All that a client can see of a run. */
async function seenOf(runId: string): Promise<unknown> {
  const view = await demand(server.ask('GET', `/runs/${runId}`))
  const report = await demand(server.ask('GET', `/runs/${runId}/report?format=csv`))
  const pages: unknown[] = []
  for (let after = -1; ; ) {
    const { json } = await demand(server.ask('GET', `/runs/${runId}/answers?after=${after}&limit=500`))
    if (json.cursor === after) return { view: view.json, report: report.text, pages }
    pages.push(json)
    after = json.cursor
  }
}

it('loses, changes and doubles no answer, whatever moment the server is killed at', async () => {
  const seed = Date.now() % 1_000_000
  console.log(`kill-nine: seed ${seed}`)
  const random = randomFrom(seed)
  const { runId } = await provedRun(server)
  const controller = openController({ runId, random })
  const tally = { replied: 0, recorded: 0, unheard: 0 }

  for (let kill = 0; kill < kills; kill += 1) {
    await controller.connect(server)
    await controller.catchUp()
    await controller.clearStops()
    const startedMs = performance.now()
    for (let calm = 0; calm < 2; calm += 1) await controller.burst()
    const usualMs = (performance.now() - startedMs) / 2
    expect(controller.unanswered).toEqual([])
    const burst = controller.burst()
    const sent = controller.unanswered.length
    await Promise.all([burst, killAfter(random() * 1.2 * usualMs)])
    await restart()
    const recorded = recordedOf(controller, await ledgerOf(server, runId))
    tally.replied += sent - controller.unanswered.length
    tally.recorded += recorded
    tally.unheard += controller.unanswered.length - recorded
  }
  console.log(`kill-nine: requests under way at the kills: ${JSON.stringify(tally)}`)
  await controller.connect(server)
  await controller.catchUp()
  await controller.clearStops()
  await expectWhole(controller, await ledgerOf(server, runId))
  const { view } = (await seenOf(runId)) as { view: { counts: { stop: number; laid: { full: number } } } }
  expect(view.counts.stop).toBeGreaterThan(0)
  expect(view.counts.laid.full).toBeGreaterThan(0)

  const before = await seenOf(runId)
  await server.kill()
  await restart()
  expect(await seenOf(runId)).toEqual(before)
  await controller.connect(server)
  await controller.repeatAll()
  expect(await seenOf(runId)).toEqual(before)
  for (const act of ['close', 'seal'])
    await demand(server.ask('POST', `/runs/${runId}/${act}`, { body: { by: 'lead' } }))
  const ledger = await ledgerOf(server, runId)
  expect(await verifyAgainst(ledger, controller.answers())).toMatchObject({ ok: true, sealed: true })
}, 180_000)

it('has a recall in force after a restart when the server died before the runs heard of it', async () => {
  const { runId } = await provedRun(server)
  await server.kill()
  // The recall's own transaction was the last thing that became durable.
  const catalogue = new Sqlite(join(folder, 'data/db/catalogue.sqlite'))
  catalogue.exec(`
    update versions set withdrawnAtMs = 1 where job = 'J7' and design = 'PLUM' and version = 1;
    insert into acts (atMs, act, by, why, job, design, version) values (1, 'withdraw', 'QA', 'wrong dose', 'J7', 'PLUM', 1)`)
  catalogue.close()
  await restart()
  const { json: view } = await demand(server.ask('GET', `/runs/${runId}`))
  expect(view).toMatchObject({
    state: 'stopped',
    causes: [{ cause: { flag: 'withdrawn', job: 'J7', design: 'PLUM' }, status: 'open' }],
    counts: { revoked: 1 },
  })
  const body = frameOf(1, [code('LIME', 1), code('PLUM', 2)])
  const { json } = await demand(server.ask('POST', `/runs/${runId}/frames`, { body }))
  expect(json.answers).toMatchObject([{ decision: 'lay' }, { decision: 'skip', flags: ['withdrawn'], layers: [] }])
  const { entries } = await ledgerOf(server, runId)
  const acts = entries.filter(({ type }) => type === 'act').map(({ body: act }) => act)
  expect(acts).toMatchObject([{ act: 'withdraw', by: 'QA', why: 'wrong dose', design: 'PLUM', version: 1 }])
  // Once is enough: the next restart finds it in the ledger.
  await server.kill()
  await restart()
  expect((await ledgerOf(server, runId)).entries).toEqual([...entries])
})
