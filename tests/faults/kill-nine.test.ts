// The server is killed with SIGKILL at random moments of a run. What was answered stays as it was answered; what was not is asked again.
import { rm } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { randomFrom } from '../drawn-symbols.ts'
import { type Controller, openController } from '../fixtures/controller.ts'
import {
  demand,
  type LedgerText,
  labelsAnswered,
  ledgerOf,
  provedRun,
  verifyAgainst,
} from '../fixtures/live-run.ts'
import { type LiveServer, startServer, temporaryFolder } from '../fixtures/server.ts'

const kills = 20
/** A burst is answered within some 10 ms on the machines that this was tried on. */
const killMsMax = 14

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

it('loses, changes and doubles no answer, whatever moment the server is killed at', async () => {
  const seed = Date.now() % 1_000_000
  const random = randomFrom(seed)
  const { runId } = await provedRun(server)
  const controller = openController({ runId, random })
  const tally = { replied: 0, recorded: 0, lost: 0 }
  console.log(`kill-nine: seed ${seed}`)

  for (let kill = 0; kill < kills; kill += 1) {
    await controller.connect(server)
    await controller.catchUp()
    await controller.clearStops()
    for (let calm = Math.floor(random() * 3); calm > 0; calm -= 1) await controller.burst()
    const before = controller.unanswered.length
    expect(before).toBe(0)
    const burst = controller.burst()
    const sent = controller.unanswered.length
    await Promise.all([burst, killAfter(random() * killMsMax)])
    await restart()
    const recorded = recordedOf(controller, await ledgerOf(server, runId))
    tally.replied += sent - controller.unanswered.length
    tally.recorded += recorded
    tally.lost += controller.unanswered.length - recorded
  }
  console.log(`kill-nine: requests under way at a kill: ${JSON.stringify(tally)}`)
  await controller.connect(server)
  await controller.catchUp()
  await expectWhole(controller, await ledgerOf(server, runId))
}, 60_000)
