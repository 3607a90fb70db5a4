// Runs for benches, put together in this process from the parts that the server is made of: over SQLite, or with commits that cost
// nothing.
import { readFile } from 'node:fs/promises'
import path from 'node:path'
import { demoFiles } from '../../demo-jobs/folders.ts'
import { preserves } from '../../demo-jobs/quillgarth-preserves/orders.ts'
import { systemClock, systemRandom } from '../../src/kernel/clock.ts'
import { openLedgerWriter } from '../../src/ledger/index.ts'
import { parseLine, parseTicket, putLine, putTicket } from '../../src/lines/index.ts'
import { type CatalogueStore, inlineThreads, openCatalogue, openPackages, release } from '../../src/packages/index.ts'
import { type Run, Runs } from '../../src/runs/index.ts'
import { type BlobStore, type Database, openFolderBlobs, openSqlite } from '../../src/storage/index.ts'
import { batchFrames, frameEvent, framesFrom, lanes, wornFrameEvent } from './labels.ts'

/** A run that lies in a data folder, opened by nobody. */
export interface LongRun {
  readonly folder: string
  readonly runId: string
  readonly frames: number
}

export interface House {
  readonly database: Database
  readonly blobs: BlobStore
  readonly catalogue: CatalogueStore
  close(): Promise<void>
}

const by = 'bench'
const clock = systemClock
const random = systemRandom

export async function openHouse(folder: string): Promise<House> {
  const database = await openSqlite({ folder: path.join(folder, 'db') })
  const blobs = await openFolderBlobs({
    folder: path.join(folder, 'blobs'),
    temporary: path.join(folder, 'blobs', 'temporary'),
  })
  const catalogue = await openCatalogue({ database, blobs })
  return { database, blobs, catalogue, close: () => database.close() }
}

/** A house in which the demo's first package is published and released, its line and ticket stored. */
export async function openDemoHouse(folder: string): Promise<House> {
  const house = await openHouse(folder)
  const { database, catalogue } = house
  const packages = openPackages({ ...house, threads: inlineThreads, spool: path.join(folder, 'spool'), clock, random })
  await packages.publish({ path: demoFiles.firstPackage, by })
  const why = 'for the bench'
  await release({ database, catalogue, clock }, { job: preserves.job, what: { package: 1 }, by, why })
  await putLine({ database, clock }, parseLine(JSON.parse(await readFile(demoFiles.line, 'utf8'))))
  await putTicket({ database, clock }, parseTicket(JSON.parse(await readFile(demoFiles.ticket, 'utf8'))))
  return house
}

/** The same database, but what is appended to ledgers costs no time and is not kept. */
export const withFreeCommits = (database: Database): Database => ({
  ...database,
  appendLedger: async () => undefined,
  ledgerHead: async () => undefined,
  readLedger: async () => [],
})

export interface OpenRuns {
  readonly runs: Runs
  close(): Promise<void>
}

/** The registry of runs over a house; `database` takes the place of the house's own. */
export function openRegistry({ blobs, catalogue, ...house }: House, database = house.database): OpenRuns {
  const ledger = openLedgerWriter({ database, clock, random })
  return { runs: new Runs({ database, blobs, ledger, catalogue, clock }), close: () => ledger.close() }
}

/** Opens a run and proves it with frame 0. */
export async function openProvedRun(runs: Runs): Promise<Run> {
  const ticket = JSON.parse(await readFile(demoFiles.ticket, 'utf8')) as { ticket: string }
  const line = JSON.parse(await readFile(demoFiles.line, 'utf8')) as { line: string }
  const run = await runs.open({ ticket: ticket.ticket, line: line.line, by })
  await run.startProving({ by })
  await run.frames([frameEvent(0)])
  await run.prove({ by, lanes })
  return run
}

/** Feeds frames in batches until the run has so many. */
export async function growRun(run: Run, frames: number, eventOf = (frame: number) => frameEvent(frame)): Promise<void> {
  for (let first = run.state.lastFrame + 1; first < frames; first += batchFrames) {
    await run.frames(framesFrom({ first, count: Math.min(batchFrames, frames - first) }, eventOf))
  }
}

/** Builds a run of so many frames, a label in about a hundred not read, through the real writer into SQLite. */
export async function buildLongRun(folder: string, frames: number): Promise<LongRun> {
  const house = await openDemoHouse(folder)
  const registry = openRegistry(house)
  const run = await openProvedRun(registry.runs)
  await growRun(run, frames, wornFrameEvent)
  await registry.close()
  await house.close()
  return { folder, runId: run.runId, frames }
}
