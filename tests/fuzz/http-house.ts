// The whole server in one process, on a port of its own: a job published and released, a line, a ticket, a run that is open.
import { rm } from 'node:fs/promises'
import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { join } from 'node:path'
import { pino } from 'pino'
import { allRoutes, createApi, openMetrics } from '../../src/api/index.ts'
import type { Route } from '../../src/api/route.ts'
import { type CaptureTask, openReader, readCapture, readPicture } from '../../src/codes/index.ts'
import { sha256 } from '../../src/kernel/bytes.ts'
import { systemClock, systemRandom } from '../../src/kernel/clock.ts'
import { Problem } from '../../src/kernel/problem.ts'
import { openLedgerWriter, signCheckpoint } from '../../src/ledger/index.ts'
import { signingKeyOf } from '../../src/ledger/keys.ts'
import { layerSumsHandler, parseLine, parseTicket, putLine, putTicket } from '../../src/lines/index.ts'
import { inlineThreads, openLayerSums, previewHandler, publishHandler, release } from '../../src/packages/index.ts'
import { openKeys } from '../../src/people/index.ts'
import { openInProcessQueue } from '../../src/queue/index.ts'
import { Captures, type Run, Runs, readCaptureHandler } from '../../src/runs/index.ts'
import { openPackageBench, type PackageBench, plainDraft, writeDraft } from '../fixtures/packages.ts'

export const soundLine = {
  schema: 'rollcall.line/1',
  line: 'L7',
  title: 'test line',
  stations: ['foil', 'inkjet'].map((station, i) => ({
    station,
    distanceMm: 400 + 500 * i,
    skips: true,
    handlingMm: { atHand: 20, notAtHand: 100 },
  })),
  webWidthMmMax: 330,
  heightUmMax: 200,
  camera: { pxPerMm: 20, leftMm: 0, topMm: -1 },
}
export const soundTicket = {
  schema: 'rollcall.ticket/1',
  ticket: 'T7',
  roll: 'R1',
  jobs: [{ job: 'J7' }],
  substrate: 'pp-white',
  pass: 1,
  regulated: false,
  foils: [{ station: 'foil', foil: 'gold' }],
}
export const codeOfLabel = (design: string, serial: number): string =>
  `J7-${design}.01/${String(serial).padStart(6, '0')}`
export const soundFrame = (frame: number) => ({
  frame,
  positionMm: frame * 30,
  reads: ['LIME', 'PLUM'].map((design, i) => ({
    cell: i + 1,
    text: codeOfLabel(design, 2 * frame + i),
    symbology: ']Q1',
    quality: 0.9,
  })),
})

export interface HttpHouse {
  readonly bench: PackageBench
  readonly port: number
  readonly routes: readonly Route[]
  readonly runs: Runs
  /** A run that takes frames and has not become long; a new one where the last has ended. */
  openRun(): Promise<Run>
  /** What was logged as a fault since the last call. */
  faults(): readonly string[]
  /** Works that are not done, cancelled or refused with a code: they hang, or will be tried again. */
  queued(): Promise<{ readonly unended: number; readonly failed: readonly string[] }>
  close(): Promise<void>
}

const framesMax = 200
const takesFrames = new Set(['proving', 'open', 'stopped'])

async function listen(server: Server): Promise<number> {
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  return (server.address() as AddressInfo).port
}

/** What is logged as an error, line by line. */
function openFaultLog() {
  const lines: string[] = []
  const log = pino({ level: 'error' }, { write: (line: string) => lines.push(line) })
  return { log, take: (): readonly string[] => lines.splice(0) }
}

async function openQueue({ database, deps, packages, catalogue, blobs }: PackageBench) {
  const queue = openInProcessQueue({ database, clock: systemClock, random: systemRandom, report: () => undefined })
  queue.handle('publish', 1, publishHandler({ packages, catalogue, queue }))
  queue.handle('check', 1, async (payload) => {
    const { path, removeSource } = payload as { path: string; removeSource: boolean }
    try {
      return await packages.check({ path })
    } finally {
      if (removeSource) await rm(path, { force: true })
    }
  })
  queue.handle('preview', 1, previewHandler({ database, blobs, catalogue, threads: deps.threads ?? inlineThreads }))
  return queue
}

async function publishSound(bench: PackageBench): Promise<void> {
  const path = await bench.source()
  await writeDraft(path, await plainDraft())
  await bench.packages.publish({ path, by: 'tester' })
  await release(bench.deps, { job: 'J7', what: { package: 1 }, by: 'tester', why: 'test' })
  const store = { database: bench.database, clock: systemClock }
  await putLine(store, parseLine(soundLine))
  await putTicket(store, parseTicket(soundTicket))
}

export async function openHttpHouse(): Promise<HttpHouse> {
  const bench = await openPackageBench()
  const { database, blobs, catalogue } = bench
  await publishSound(bench)
  const clock = systemClock
  const queue = await openQueue(bench)
  const ledger = openLedgerWriter({ database, clock, random: systemRandom })
  const layerSums = openLayerSums({ database, blobs, threads: bench.deps.threads ?? inlineThreads })
  queue.handle('layer-sums', 1, layerSumsHandler({ database, catalogue, layerSums }))
  const runs = new Runs({ database, blobs, ledger, catalogue, clock, layerSums })
  const captures = new Captures({ folder: join(bench.folder, 'captures'), queue, clock })
  const tools = { reader: await openReader(), clock }
  queue.handle('read-capture', 1, readCaptureHandler({ runs, read: (task) => readCapture(task as CaptureTask, tools) }))
  await queue.start()
  const key = signingKeyOf(sha256('installation'))
  const { log, take } = openFaultLog()
  const parts = {
    version: '0',
    database,
    blobs,
    catalogue,
    queue,
    runs,
    captures,
    layerSums,
    keys: await openKeys({ database, clock, random: systemRandom }),
    policy: { twoPersons: [], twoPersonsRegulated: [] },
    hosts: [],
    clock,
    log,
    metrics: openMetrics(queue),
    spoolFolder: bench.spool,
    verifierKey: key.verifierKey,
    ready: () => true,
    readPicture: (file: string) => readPicture({ kind: 'picture', path: file }, tools),
    async checkpoint(runId: string) {
      const head = await database.ledgerHead(runId)
      if (!head) throw new Problem('run-not-found', `run ${runId} has no entry yet`)
      return signCheckpoint(key, { runId, ...head })
    },
  }
  const server = createServer(createApi(parts))
  const port = await listen(server)
  let run: Run | undefined
  return {
    bench,
    port,
    routes: allRoutes(parts),
    runs,
    async openRun() {
      run = run && (await runs.get(run.runId))
      if (run && takesFrames.has(run.state.name) && run.state.counts.frames < framesMax) return run
      run = await runs.open({ ticket: 'T7', line: 'L7', by: 'lead', override: true, why: 'test' })
      await run.startProving({ by: 'lead' })
      await run.frames([0, 1, 2].map(soundFrame))
      return run
    },
    faults: take,
    async queued() {
      const { waiting, running } = await queue.counts()
      const dead = await queue.list({ state: 'dead', count: 1_000 })
      const failed = dead.flatMap(({ id, error }) => {
        const { code, detail } = error as { code?: string; detail?: string }
        return code === undefined || code === 'internal' ? [`${id}: ${detail}`] : []
      })
      const tried = await queue.list({ state: 'waiting', count: 1_000 })
      const again = tried
        .filter(({ attempts }) => attempts > 0)
        .map(({ id, error }) => `${id}: ${JSON.stringify(error)}`)
      return { unended: waiting + running, failed: [...failed, ...again] }
    },
    async close() {
      server.closeAllConnections()
      server.close()
      await queue.close()
      await ledger.close()
      await bench.close()
    },
  }
}
