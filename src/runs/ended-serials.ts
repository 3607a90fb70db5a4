// The serials that runs laid which have ended: kept as snapshots in the blob store, loaded when a run of the same job and pass opens.
import { restoreSerials, type SerialSet } from '../codes/index.ts'
import { canonicalText, type Digest, toDigest } from '../kernel/bytes.ts'
import { readEntries } from '../ledger/index.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import { LaidSerials, type SerialInRun } from './laid-serials.ts'
import type { Run } from './run.ts'

interface Loaded {
  readonly runId: string
  readonly pass: number
  readonly job: string
  readonly set: SerialSet
}

// What is laid when a run has ended: its `lay` answers of the run proper that were neither revoked nor reported `none`.
async function collect(database: Database, run: Run): Promise<LaidSerials> {
  const { state } = run
  const found = new LaidSerials()
  for await (const entry of readEntries(database, { runId: run.runId })) {
    if (entry.type !== 'answer') continue
    const { decision, setup, identity, place, cell: number } = entry.body
    const ordinal = state.cells.findIndex(({ cell }) => cell === number)
    const serial = identity?.serial
    if (decision !== 'lay' || setup || serial === undefined || ordinal < 0) continue
    const isStanding =
      state.places.state(place, ordinal) === 'lay' && state.places.answer(place, ordinal) === entry.index
    const cell = state.cells[ordinal]?.serialCell
    if (isStanding) found.add(identity?.job ?? '', { serial, cell, slot: place * state.cells.length + ordinal })
  }
  return found
}

interface Kept {
  readonly pass: number
  /** Digest of the serials' snapshot, by job. */
  readonly jobs: Readonly<Record<string, string>>
}

const metaKey = (runId: string): string => `serials/${runId}`

async function putSnapshot(blobs: BlobStore, set: SerialSet): Promise<Digest> {
  const { digest } = await blobs.put({ bytes: Buffer.concat([...set.snapshot()]) })
  return digest
}

/** Memory: what was loaded stays, some 16 bytes a serial. */
export class EndedSerials {
  readonly #parts: { readonly database: Database; readonly blobs: BlobStore }
  readonly #loaded = new Map<string, Loaded>()

  constructor(parts: { readonly database: Database; readonly blobs: BlobStore }) {
    this.#parts = parts
  }

  /** Keeps the snapshot of a run that ended; one pass over its ledger. Doing it again changes nothing. */
  async keep(run: Run): Promise<Kept> {
    const { database, blobs } = this.#parts
    const laid = await collect(database, run)
    const jobs: Record<string, string> = {}
    for (const [job, set] of laid.sets()) jobs[job] = await putSnapshot(blobs, set)
    const kept: Kept = { pass: run.state.ticket.pass, jobs }
    const value = canonicalText(kept)
    await database.catalogue
      .insertInto('meta')
      .values({ key: metaKey(run.runId), value })
      .onConflict((conflict) => conflict.column('key').doUpdateSet({ value }))
      .execute()
    return kept
  }

  /**
   * Loads what ended runs laid of these jobs in this pass. `get` opens a run whose snapshot was never kept (a crash came between its
   * end and the keeping).
   */
  async load(
    of: { readonly jobs: readonly string[]; readonly pass: number },
    get: (runId: string) => Promise<Run>,
  ): Promise<void> {
    const { database } = this.#parts
    const ended = await database.catalogue
      .selectFrom('runs')
      .select('runId')
      .where('state', 'in', ['sealed', 'aborted'])
      .execute()
    for (const { runId } of ended) {
      const row = await database.catalogue
        .selectFrom('meta')
        .select('value')
        .where('key', '=', metaKey(runId))
        .executeTakeFirst()
      const kept = row ? (JSON.parse(row.value) as Kept) : await this.keep(await get(runId))
      if (kept.pass === of.pass) await this.#loadKept(runId, kept, of.jobs)
    }
  }

  async #loadKept(runId: string, { pass, jobs }: Kept, wanted: readonly string[]): Promise<void> {
    for (const [job, digest] of Object.entries(jobs)) {
      const key = `${runId}\n${job}`
      if (!wanted.includes(job) || this.#loaded.has(key)) continue
      const bytes = await this.#parts.blobs.read(toDigest(digest))
      this.#loaded.set(key, { runId, pass, job, set: await restoreSerials(bytes) })
    }
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
