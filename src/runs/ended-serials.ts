// What runs did that have ended: the serials that they laid, and what became of every label. Kept as snapshots in the blob store at a
// run's end, loaded when a run of the same job opens; a snapshot that is not there or is damaged is made again from the ledger.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { restoreSerials, type SerialSet } from '../codes/index.ts'
import { canonicalText, type Digest, toDigest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import { type Entry, readEntries } from '../ledger/index.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import { OutcomeFold, type RunOutcomes } from './earlier-pass-fold.ts'
import type { PassOutcome } from './earlier-pass-outcomes.ts'
import { LaidSerials, type SerialInRun } from './laid-serials.ts'
import type { Run } from './run.ts'

interface Loaded {
  readonly runId: string
  readonly pass: number
  readonly job: string
  readonly set: SerialSet
}

// What is laid when a run has ended: its `lay` answers of the run proper that were neither revoked nor reported `none`.
function takeLaid({ state }: Run, found: LaidSerials, entry: Entry): void {
  if (entry.type !== 'answer') return
  const { decision, setup, identity, place, cell: number } = entry.body
  const ordinal = state.cells.findIndex(({ cell }) => cell === number)
  const serial = identity?.serial
  if (decision !== 'lay' || setup || serial === undefined || ordinal < 0) return
  const isStanding = state.places.state(place, ordinal) === 'lay' && state.places.answer(place, ordinal) === entry.index
  const cell = state.cells[ordinal]?.serialCell
  if (isStanding) found.add(identity?.job ?? '', { serial, cell, slot: place * state.cells.length + ordinal })
}

/** What became of a run's labels, from its ledger as it stands. Memory: some 21 bytes a label while it lasts. */
export async function collectOutcomes(database: Database, { runId, state }: Run): Promise<RunOutcomes> {
  const fold = new OutcomeFold(state)
  for await (const entry of readEntries(database, { runId })) fold.take(entry)
  return fold.settle()
}

/** Digests of the serials' snapshots, by job. */
type Digests = Readonly<Record<string, string>>

export interface Kept {
  readonly pass: number
  /** Of what was laid. */
  readonly jobs: Digests
  /** Of what became of every label; absent in what was kept before there was this. */
  readonly outcomes?: {
    readonly labels: number
    readonly untied: number
    /** Tags of these snapshots are places in this list. */
    readonly rows: readonly PassOutcome[]
    readonly jobs: Digests
  }
}

/** Whole: with what became of every label. */
export type KeptOutcomes = Required<Kept>

const metaKey = (runId: string): string => `serials/${runId}`
const lost: ReadonlySet<string> = new Set(['blob-not-found', 'blob-damaged'])

async function putSnapshots(blobs: BlobStore, sets: ReadonlyMap<string, SerialSet>): Promise<Record<string, Digest>> {
  const jobs: Record<string, Digest> = {}
  for (const [job, set] of sets) {
    const pieces: Uint8Array[] = []
    for (const piece of set.snapshot()) {
      pieces.push(piece)
      await turnOfTheLoop()
    }
    const { digest } = await blobs.put({ bytes: Buffer.concat(pieces) })
    jobs[job] = digest
  }
  return jobs
}

type Get = (runId: string) => Promise<Run>

/** Memory: what was loaded stays, some 16 bytes a serial. */
export class EndedSerials {
  readonly #parts: { readonly database: Database; readonly blobs: BlobStore }
  readonly #loaded = new Map<string, Loaded>()

  constructor(parts: { readonly database: Database; readonly blobs: BlobStore }) {
    this.#parts = parts
  }

  /** Keeps the snapshots of a run that ended; one pass over its ledger. Doing it again changes nothing. */
  async keep(run: Run): Promise<KeptOutcomes> {
    const { database, blobs } = this.#parts
    const laid = new LaidSerials()
    const fold = new OutcomeFold(run.state)
    for await (const entry of readEntries(database, { runId: run.runId })) {
      takeLaid(run, laid, entry)
      fold.take(entry)
    }
    const { sets, ...outcomes } = fold.settle()
    const kept: KeptOutcomes = {
      pass: run.state.ticket.pass,
      jobs: await putSnapshots(blobs, laid.sets()),
      outcomes: { ...outcomes, jobs: await putSnapshots(blobs, sets) },
    }
    const value = canonicalText(kept)
    await database.catalogue
      .insertInto('meta')
      .values({ key: metaKey(run.runId), value })
      .onConflict((conflict) => conflict.column('key').doUpdateSet({ value }))
      .execute()
    return kept
  }

  async #row(runId: string): Promise<Kept | undefined> {
    const row = await this.#parts.database.catalogue
      .selectFrom('meta')
      .select('value')
      .where('key', '=', metaKey(runId))
      .executeTakeFirst()
    return row && (JSON.parse(row.value) as Kept)
  }

  /** What was kept of an ended run. `get` opens a run whose end was never kept (a crash came in between), or not whole. */
  async kept(runId: string, get: Get): Promise<KeptOutcomes> {
    const row = await this.#row(runId)
    return row?.outcomes ? { ...row, outcomes: row.outcomes } : this.keep(await get(runId))
  }

  /** The snapshot that `digestOf` picks, with what was kept; undefined where there is none. */
  async snapshot<K extends Kept>(
    runId: string,
    { kept, digestOf, get }: { kept: K; digestOf: (kept: K | KeptOutcomes) => string | undefined; get: Get },
  ): Promise<{ readonly kept: K | KeptOutcomes; readonly bytes: Uint8Array } | undefined> {
    const { blobs } = this.#parts
    const digest = digestOf(kept)
    if (digest === undefined) return undefined
    try {
      return { kept, bytes: await blobs.read(toDigest(digest)) }
    } catch (error) {
      if (!(error instanceof Problem && lost.has(error.code))) throw error
      const again = await this.keep(await get(runId))
      const mended = digestOf(again)
      return mended === undefined ? undefined : { kept: again, bytes: await blobs.read(toDigest(mended)) }
    }
  }

  /** Loads what ended runs laid of these jobs in this pass. */
  async load(of: { readonly jobs: readonly string[]; readonly pass: number }, get: Get): Promise<void> {
    const ended = await this.#parts.database.catalogue
      .selectFrom('runs')
      .select('runId')
      .where('state', 'in', ['sealed', 'aborted'])
      .execute()
    for (const { runId } of ended) {
      const kept = (await this.#row(runId)) ?? (await this.keep(await get(runId)))
      if (kept.pass !== of.pass) continue
      for (const job of of.jobs) await this.#loadKept({ runId, job, kept }, get)
    }
  }

  async #loadKept({ runId, job, kept }: { runId: string; job: string; kept: Kept }, get: Get): Promise<void> {
    const key = `${runId}\n${job}`
    if (this.#loaded.has(key)) return
    const found = await this.snapshot(runId, { kept, get, digestOf: ({ jobs }) => jobs[job] })
    if (found) this.#loaded.set(key, { runId, pass: kept.pass, job, set: await restoreSerials(found.bytes) })
  }

  /** Whether an ended run other than `runId` laid the serial in this pass. Costs one look-up an ended run of the job. */
  has(of: SerialInRun): boolean {
    for (const { runId, pass, job, set } of this.#loaded.values()) {
      if (runId !== of.runId && pass === of.pass && job === of.job && set.get(of.serial, of.cell) !== undefined)
        return true
    }
    return false
  }
}
