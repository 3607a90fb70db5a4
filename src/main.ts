#!/usr/bin/env node
// The one place where the parts are put together: the server over a data directory, and the command line in front of it.
import { readFileSync } from 'node:fs'
import { rm, writeFile } from 'node:fs/promises'
import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { type Logger, pino } from 'pino'
import type { DemoParts } from '../demo-jobs/demo.ts'
import { attachLineSockets, clearUploads, createApi, type Metrics, openMetrics } from './api/index.ts'
import { type CliParts, connect, openOutput, type RunningServer, runCli, type ServeOptions } from './cli/index.ts'
import { beyondLoopback, type Config, readConfig } from './config.ts'
import { systemClock, systemRandom } from './kernel/clock.ts'
import { Problem, problemTable } from './kernel/problem.ts'
import { type Entry, openLedgerWriter, openSigningKey, signCheckpoint } from './ledger/index.ts'
import { layerSumsHandler } from './lines/index.ts'
import {
  clearStaging,
  openCatalogue,
  openLayerSums,
  openPackages,
  openWatchedFolder,
  previewHandler,
  publishHandler,
} from './packages/index.ts'
import { type Keys, openKeys, removeLocalKey, writeLocalKey } from './people/index.ts'
import { openInProcessQueue, openThreads } from './queue/index.ts'
import { openReaders, type Readers, watchStamps } from './readers/index.ts'
import {
  Captures,
  type Run,
  Runs,
  readCaptureHandler,
  readinessHandler,
  stopNotes,
  watchCaptures,
} from './runs/index.ts'
import { type DataDirectory, openDataDirectory, openFolderBlobs, openSqlite, whereDiskFills } from './storage/index.ts'

const version = (JSON.parse(readFileSync(new URL(packagePath(), import.meta.url), 'utf8')) as { version: string })
  .version

// From `src/` the package lies one folder up, from `dist/src/` two.
function packagePath(): string {
  return import.meta.url.endsWith('.ts') ? '../package.json' : '../../package.json'
}

// Worker entries have the ending of the code that runs: `.ts` from sources, `.js` from the build.
const workerUrl = (name: string): URL =>
  new URL(`../workers/${name}.${import.meta.url.endsWith('.ts') ? 'ts' : 'js'}`, import.meta.url)

/** Things to undo, in the reverse of their order. */
interface Undo {
  add(undo: () => unknown): void
  all(): Promise<void>
}

function openUndo(): Undo {
  const steps: (() => unknown)[] = []
  return {
    add: (step) => steps.push(step),
    async all() {
      for (let step = steps.pop(); step; step = steps.pop()) await step()
    },
  }
}

/** What is told of durable entries: metrics, and a line of the log for each stop. */
const teller =
  (metrics: Metrics, log: Logger) =>
  (run: Run, entries: readonly Entry[]): void => {
    metrics.written(run, entries)
    for (const note of stopNotes(run, entries)) {
      metrics.stopped(note)
      log.warn(note, `stop asked for: ${note.flag} on ${note.line}`)
    }
  }

function openConfiguredReaders({ clock }: Ground, config: Config, log: Logger, undo: Undo): Readers {
  const readers = openReaders({
    config,
    host: config.host,
    beyond: beyondLoopback({ ...config, hosts: [] }),
    clock,
    stamps: watchStamps(clock),
    report: (error) => log.error({ err: error }, 'a streamed picture cannot be taken'),
  })
  undo.add(() => readers.close())
  return readers
}

/** Storage, ledger, queue and threads over an open data directory. */
async function openGround({ paths }: DataDirectory, config: Config, log: Logger, undo: Undo) {
  const clock = systemClock
  const random = systemRandom
  const database = await openSqlite({ folder: paths.db })
  undo.add(() => database.close())
  const blobs = await openFolderBlobs({ folder: paths.blobs, temporary: paths.temporary })
  const key = await openSigningKey({ folder: paths.keys, random })
  const keys = await openKeys({ database, clock, random })
  const ledger = openLedgerWriter({ database, clock, random })
  undo.add(() => ledger.close())
  const queue = openInProcessQueue({
    database,
    clock,
    random,
    report: (error) => log.error({ err: error }, 'work cannot be noted'),
  })
  const readThreads = openThreads({ script: workerUrl('read-capture'), count: config.threads })
  const packageThreads = openThreads({
    script: workerUrl('check-package'),
    count: config.threads,
    // Taking in a whole package is one task.
    timeoutMs: 1_800_000,
  })
  undo.add(() => Promise.all([readThreads.close(), packageThreads.close()]))
  undo.add(() => queue.close())
  return { clock, random, database, blobs, key, keys, ledger, queue, readThreads, packageThreads }
}

type Ground = Awaited<ReturnType<typeof openGround>>

/** Packages and runs on that ground, and the work that they queue. */
async function openHouse(ground: Ground, directory: DataDirectory, config: Config, log: Logger, undo: Undo) {
  const { clock, random, database, blobs, ledger, queue, packageThreads: threads, readThreads } = ground
  const { paths } = directory
  const catalogue = await openCatalogue({
    database,
    blobs,
    report: (digest, error) =>
      log.error({ digest, err: error }, 'a code index cannot be opened; its codes are unknown'),
  })
  const packages = openPackages({ database, blobs, catalogue, threads, spool: paths.spool, clock, random })
  const layerSums = openLayerSums({ database, blobs, threads })
  const readers = openConfiguredReaders(ground, config, log, undo)
  const metrics = openMetrics(queue, readers.view)
  ledger.onCommit((facts) => metrics.commit(facts))
  const runs = new Runs({
    database,
    blobs,
    ledger,
    catalogue,
    clock,
    layerSums,
    awaited: readers.awaited,
    onWritten: teller(metrics, log),
  })
  undo.add(() => runs.settled())
  const captures = new Captures({ folder: paths.captures, queue, clock })
  queue.handle('publish', 1, publishHandler({ packages, catalogue, queue }))
  queue.handle('check', 1, async (payload, { signal, progress }) => {
    const { path, removeSource } = payload as { path: string; removeSource: boolean }
    const remove = async (): Promise<void> => {
      if (removeSource) await rm(path, { force: true })
    }
    try {
      const report = await packages.check({ path, signal, progress })
      await remove()
      return report
    } catch (error) {
      // What is tried again needs its source again.
      if (error instanceof Problem && problemTable[error.code].retry !== 'later') await remove()
      throw error
    }
  })
  queue.handle('readiness', 1, readinessHandler(runs))
  queue.handle('layer-sums', 1, layerSumsHandler({ database, catalogue, layerSums }))
  queue.handle('preview', 1, previewHandler({ database, blobs, catalogue, threads }))
  const read = readCaptureHandler({ runs, read: (task, signal) => readThreads.run(task, { signal }) })
  queue.handle('read-capture', config.threads, async (payload, context) => {
    const startedMs = clock.monotonicMs()
    const result = await read(payload, context)
    metrics.capture({ ms: clock.monotonicMs() - startedMs })
    return result
  })
  await clearStaging(paths.spool)
  await clearUploads({ spoolFolder: paths.spool, queue })
  for (const run of await runs.resume((runId, error) =>
    log.error({ runId, err: error }, 'a run cannot be opened again'),
  )) {
    await captures.resume(run)
  }
  return { catalogue, packages, layerSums, metrics, runs, captures, readers }
}

type House = Awaited<ReturnType<typeof openHouse>>

async function startWatching(
  ground: Ground,
  house: House,
  directory: DataDirectory,
  config: Config,
  log: Logger,
  undo: Undo,
) {
  const { queue, packageThreads: threads, clock, random } = ground
  const { intake, refused, captures: folder } = directory.paths
  const intakes = openWatchedFolder({
    intake,
    refused,
    queue,
    threads,
    clock,
    random,
    intervalMs: config.intakeRescanMs,
    settleMs: config.intakeSettleMs,
    report: (event) => log[event.event === 'published' ? 'info' : 'warn'](event, `intake: ${event.event}`),
  })
  await intakes.start()
  undo.add(() => intakes.close())
  const { runs, captures } = house
  const pictures = watchCaptures({
    folder,
    captures,
    runs,
    rescanMs: config.capturesRescanMs,
    tell: ({ kind, file, problem }) => log.warn({ file, err: problem }, `captures: ${kind}`),
  })
  undo.add(() => pictures.close())
  const sweep = setInterval(() => {
    runs.sweepLayers().catch((error) => log.error({ err: error }, 'the layers cannot be looked at'))
  }, config.layerSweepMs)
  undo.add(() => clearInterval(sweep))
}

function demandKeysBeyondLoopback(config: Config, keys: Keys): void {
  const beyond = beyondLoopback(config)
  if (beyond === undefined || keys.hasActiveAdmin()) return
  const how = 'make one first, on this machine: rollcall key create --role admin --person NAME'
  throw new Problem(
    'listen-beyond-loopback',
    `${beyond} is beyond loopback and there is no active key of role admin; ${how}`,
    {
      measured: beyond,
    },
  )
}

/** Lets the commands of whoever can read the data directory in. */
async function admitLocal({ keys, random }: Ground, { paths }: DataDirectory, undo: Undo): Promise<void> {
  undo.add(() => removeLocalKey(paths.keys))
  keys.admitLocal(await whereDiskFills(() => writeLocalKey({ folder: paths.keys, random })))
}

/** The address under which this machine itself reaches the server. */
function urlOf({ address, family, port }: AddressInfo): string {
  const ipv6 = family === 'IPv6'
  const host = address === '0.0.0.0' ? '127.0.0.1' : address === '::' ? '::1' : address
  return `http://${ipv6 ? `[${host}]` : host}:${port}`
}

async function listen(
  ground: Ground,
  house: House,
  directory: DataDirectory,
  config: Config,
  log: Logger,
  undo: Undo,
): Promise<string> {
  const { clock, database, blobs, key, keys, queue, readThreads } = ground
  let isReady = true
  const app = createApi({
    version,
    clock,
    database,
    blobs,
    keys,
    policy: config,
    hosts: config.hosts,
    queue,
    log,
    ...house,
    readers: house.readers.view,
    spoolFolder: directory.paths.spool,
    verifierKey: key.verifierKey,
    ready: () => isReady,
    readPicture: (file) => readThreads.run({ kind: 'picture', path: file }),
    async checkpoint(runId) {
      const head = await database.ledgerHead(runId)
      if (!head) throw new Problem('run-not-found', `run ${runId} has no entry yet`)
      return signCheckpoint(key, { runId, ...head })
    },
  })
  const http = createServer(app)
  const lineSockets = attachLineSockets(http, app, { ...house, clock, keys, log })
  await new Promise<void>((resolve, reject) => {
    http.once('error', (error: NodeJS.ErrnoException) => {
      const isTaken = error.code === 'EADDRINUSE' || error.code === 'EACCES'
      reject(isTaken ? new Problem('port-in-use', `cannot listen: ${error.message}`, { measured: config.port }) : error)
    })
    http.listen(config.port, config.host, resolve)
  })
  undo.add(async () => {
    isReady = false
    await lineSockets.close()
    const closed = new Promise((resolve) => http.close(resolve))
    http.closeIdleConnections()
    setTimeout(() => http.closeAllConnections(), 2_000).unref()
    await closed
  })
  const url = urlOf(http.address() as AddressInfo)
  const noted = `${JSON.stringify({ url, pid: process.pid })}\n`
  await whereDiskFills(() => writeFile(directory.paths.server, noted))
  undo.add(() => rm(directory.paths.server, { force: true }))
  return url
}

/** Starts Rollcall over a data directory. Problems: `data-in-use`, `data-format`, `config-bad`, `port-in-use`, `listen-beyond-loopback`. */
async function startServer(options: ServeOptions): Promise<RunningServer> {
  const { dataFolder } = options
  const { port, host, logLevel } = options
  const given = {
    ...(port === undefined ? {} : { port }),
    ...(host === undefined ? {} : { host }),
    ...(logLevel === undefined ? {} : { logLevel: logLevel as Config['logLevel'] }),
    // For the length of a command nobody else is let in, whatever is configured.
    ...(options.private ? { host: '127.0.0.1', hosts: [], readers: [], pictureStreams: [] } : {}),
  }
  const config = await readConfig({ dataFolder, environment: process.env, given })
  const log = pino({ level: config.logLevel }, pino.destination({ fd: 2, sync: true }))
  const undo = openUndo()
  try {
    const directory = await openDataDirectory(dataFolder)
    undo.add(() => directory.release())
    const ground = await openGround(directory, config, log, undo)
    demandKeysBeyondLoopback(config, ground.keys)
    await admitLocal(ground, directory, undo)
    const house = await openHouse(ground, directory, config, log, undo)
    await ground.queue.start()
    if (options.watch !== false) await startWatching(ground, house, directory, config, log, undo)
    const { runs, captures } = house
    await house.readers.listen({ runOn: (line) => runs.onLine(line), captures })
    const url = await listen(ground, house, directory, config, log, undo)
    log.info({ url, dataFolder, version }, 'rollcall serves')
    return { url, close: () => undo.all() }
  } catch (error) {
    await undo.all()
    throw error
  }
}

const demo: CliParts['demo'] = async ({ dataFolder, serve, port, json }) => {
  const { runDemo } = await import('../demo-jobs/demo.ts')
  const parts: DemoParts = {
    start: startServer,
    connect,
    drawScript: workerUrl('draw-capture'),
    threads: 2,
    output: openOutput(json),
    verify: ({ url, runId, checkpoint, answers }) =>
      runCli(
        ['--url', url, ...(json ? ['--json'] : []), 'verify', runId, '--checkpoint', checkpoint, '--answers', answers],
        cli,
      ),
  }
  return runDemo(parts, { folder: dataFolder, serve, port })
}

// A reader that closed our output (such as `head`) ends the command without a word.
process.stdout.on('error', (error: NodeJS.ErrnoException) => process.exit(error.code === 'EPIPE' ? 0 : 1))

const cli: CliParts = { version, start: startServer, demo }
process.exitCode = await runCli(process.argv.slice(2), cli)
