// A killed process can't show a missing sync, since the kernel keeps what was written. So the system calls are looked at: for each
// reply that carries an answer, the answer was written to the ledger's log, then synced, and only then did the reply go out.
import { readFile, rm } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it, type TestContext } from 'vitest'
import { code, demand, frameOf, pictureOf, pitchMm, provedRun } from '../fixtures/live-run.ts'
import { openConnection } from '../fixtures/raw-http.ts'
import { type LiveServer, startServer, temporaryFolder, until } from '../fixtures/server.ts'
import { type Evidence, judge, parseTrace, traced, whyNoTrace } from '../fixtures/system-calls.ts'

const log = 'ledger.sqlite-wal'

let folder: string
beforeEach(async () => {
  folder = await temporaryFolder('sync')
})
afterEach(() => rm(folder, { recursive: true, force: true }))

function needTrace(ctx: TestContext): void {
  const why = whyNoTrace()
  if (why === undefined) return
  if (process.env.CI) throw new Error(`${why}; this must be shown in CI: apt-get install strace, and allow ptrace`)
  ctx.skip(why)
}

const serial = (number: number): string => String(number).padStart(6, '0')

/** The answer's entry in the log holds the serial before the text; an answer on the wire holds them the other way round. */
const evidenceOf = (number: number): Evidence => ({
  stored: String.raw`\"serial\":\"${serial(number)}\",\"text\"`,
  replied: String.raw`\"print\":\"01\",\"serial\":\"${serial(number)}\"`,
})

/** Sends frames alone, in batches, many at once, and as a picture. Returns the serials of all labels that were answered. */
async function traffic(server: LiveServer): Promise<number[]> {
  const { runId } = await provedRun(server)
  const serials: number[] = []
  let frame = 0
  const next = () => {
    frame += 1
    serials.push(frame * 2, frame * 2 + 1)
    return frameOf(frame, [code('LIME', frame * 2), code('PLUM', frame * 2 + 1)])
  }
  const target = `/runs/${runId}/frames`
  for (let i = 0; i < 10; i += 1) await demand(server.ask('POST', target, { body: next() }))
  await demand(server.ask('POST', target, { body: Array.from({ length: 32 }, next) }))
  const line = await openConnection(server.url)
  const pipelined = Array.from({ length: 12 }, () =>
    line.send({
      method: 'POST',
      target: `/api/v1${target}`,
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(next()),
    }),
  )
  for (const reply of await Promise.all(pipelined)) expect(reply.status).toBe(200)
  line.close()
  const { reads, positionMm } = next()
  await demand(
    server.ask('POST', `/runs/${runId}/captures?frame=${frame}&positionMm=${positionMm}`, {
      raw: await pictureOf(reads.map(({ text }) => text)),
      headers: { 'content-type': 'image/png' },
    }),
  )
  await until(async () => (await server.ask('GET', `/runs/${runId}/answers?frame=${frame}`)).json.answers.length === 2)
  expect(positionMm).toBe(frame * pitchMm)
  return serials
}

it('every answer is written and synced before its reply leaves', async (ctx) => {
  needTrace(ctx)
  const file = join(folder, 'trace')
  const server = await startServer({ dataFolder: join(folder, 'data'), under: traced(file) })
  const serials = await traffic(server)
  expect(await server.stop()).toBe(0)
  const trace = await readFile(file, 'utf8')
  const verdicts = serials.map((number) => judge(parseTrace(trace), log, evidenceOf(number)))
  expect(serials.length).toBe(110)
  expect(verdicts).toEqual(serials.map(() => 'synced'))

  // The same trace without the syncs, or with replies put before them, is not taken for good.
  const unsynced = trace.replaceAll(/^.*\bf(data)?sync\(.*$/gm, '')
  expect(judge(parseTrace(unsynced), log, evidenceOf(serials[0]!))).toBe('never synced')
  const { replied } = evidenceOf(serials[0]!)
  const rows = trace.split('\n')
  const reply = rows.find((row) => row.includes(replied) && row.includes('<TCP'))!
  const early = [reply, ...rows.filter((row) => row !== reply)].join('\n')
  expect(judge(parseTrace(early), log, evidenceOf(serials[0]!))).toBe('written after the reply')
}, 120_000)
