// What earlier passes did with each label, found by identity (job, serial, cell where one code stands for several), whatever roll it
// was on: exact, one look-up an earlier pass, some 16 bytes a serial. What was skipped stays skipped, what was laid must be the version
// that is laid now; a label that can't be tied to its earlier pass counts as done otherwise.
import { openSerialSet, type SerialSet } from '../codes/index.ts'
import { Problem } from '../kernel/problem.ts'
import { decodeEntry, type Entry, readEntries } from '../ledger/index.ts'
import type { Ticket } from '../lines/index.ts'
import type { Database } from '../storage/port.ts'
import { OutcomeFold } from './earlier-pass-fold.ts'
import { joined, type LabelNow, mayLie, OutcomeTable, type PassOutcome, sameVersion } from './earlier-pass-outcomes.ts'
import type { EndedSerials } from './ended-serials.ts'
import type { Run } from './run.ts'

/** A run of an earlier pass that can't be read. */
interface Lost {
  readonly pass: number
  readonly jobs: readonly string[]
}

/** What all ended runs of one job did in one pass. */
export class PassMemory {
  readonly set: SerialSet = openSerialSet()
  readonly #table = new OutcomeTable()
  readonly #runs = new Map<string, Promise<void>>()

  outcome(serial: string, cell: number | undefined): PassOutcome | undefined {
    const number = this.set.get(serial, cell)
    return number === undefined ? undefined : this.#table.rows[number]
  }

  /** Takes in a run's snapshot, once. */
  takeIn(runId: string, read: () => Promise<{ rows: readonly PassOutcome[]; bytes: Uint8Array } | undefined>) {
    const known = this.#runs.get(runId)
    if (known) return known
    const work = read().then((found) => found && this.#absorb(found))
    this.#runs.set(runId, work)
    work.catch(() => this.#runs.delete(runId))
    return work
  }

  #absorb({ rows, bytes }: { rows: readonly PassOutcome[]; bytes: Uint8Array }): Promise<void> {
    const table = this.#table
    const numbers = rows.map((row) => table.numberOf(row))
    return this.set.absorb(bytes, (tag, former) => {
      const number = numbers[tag] ?? 0
      if (former === undefined || former === number) return number
      return table.numberOf(joined(table.rows[former] as PassOutcome, table.rows[number] as PassOutcome))
    })
  }
}

const ended: ReadonlySet<string> = new Set(['sealed', 'aborted'])
type Get = (runId: string) => Promise<Run>

interface RunRow {
  readonly runId: string
  readonly state: string
  readonly pass: number
  /** Of its tickets, as JSON. */
  readonly jobs: string
}

/** Of all tickets of the run. */
const jobsOf = ({ state }: Run): readonly string[] => [
  ...new Set(state.tickets.flatMap(({ frozen }) => frozen.jobs.map(({ job }) => job))),
]

interface Watched {
  readonly pass: number
  readonly fold: OutcomeFold
}

export class EarlierPasses {
  readonly #database: Database
  readonly #ended: EndedSerials
  /** By job, then pass. Memory: what was loaded stays. */
  readonly #memories = new Map<string, Map<number, PassMemory>>()
  /** Runs of an earlier pass that still go on. */
  readonly #watched = new Map<string, Watched>()
  readonly #lost = new Map<string, Lost>()
  /** The highest pass that a run of the job was opened for, in this process. */
  readonly #highest = new Map<string, number>()

  constructor(parts: { readonly database: Database; readonly ended: EndedSerials }) {
    this.#database = parts.database
    this.#ended = parts.ended
  }

  /**
   * To be awaited before a run takes frames: loads what earlier passes did with the labels of its jobs, and watches the run itself
   * where a later pass goes on beside it. Before the run's next ticket comes into force, call it again with the jobs of that. A run of an
   * earlier pass whose ledger is damaged is left out, and noted: no one can say what lies on its labels.
   */
  async prepare(run: Run, get: Get, next: readonly string[] = []): Promise<void> {
    const { pass } = run.state.ticket
    const jobs = [...jobsOf(run), ...next]
    for (const job of jobs) this.#highest.set(job, Math.max(this.#highest.get(job) ?? 1, pass))
    if (jobs.some((job) => pass < (this.#highest.get(job) ?? 1))) await this.#watch(run)
    if (pass === 1) return
    for (const row of await this.#rowsBefore(pass, run.runId)) {
      try {
        await this.#load(row, { jobs, get })
        this.#lost.delete(row.runId)
      } catch (error) {
        if (!(error instanceof Problem && error.code === 'ledger-bad')) throw error
        // A row without jobs is from before rows had them: any may have been on it.
        const known = JSON.parse(row.jobs) as readonly string[]
        this.#lost.set(row.runId, { pass: row.pass, jobs: known.length > 0 ? known : jobs })
      }
    }
  }

  async #rowsBefore(pass: number, except: string): Promise<readonly RunRow[]> {
    const rows = await this.#database.catalogue
      .selectFrom('runs')
      .select(['runId', 'state', 'pass', 'jobs'])
      .where('runId', '!=', except)
      .where('pass', '<', pass)
      .execute()
    const whole = await Promise.all(
      // Rows from before there were these columns have no jobs, and pass 1 whatever it was.
      rows.map(async (row) => (row.jobs === '[]' ? { ...row, pass: await this.#passOf(row.runId) } : row)),
    )
    return whole.filter((row) => row.pass < pass)
  }

  async #passOf(runId: string): Promise<number> {
    const [row] = await this.#database.readLedger({ runId, from: 0, count: 1 })
    const first = row && decodeEntry(row.bytes)
    if (first?.type !== 'step' || !first.body.ticket) return Number.POSITIVE_INFINITY
    return (JSON.parse(first.body.ticket) as Ticket).pass
  }

  async #load(row: RunRow, { jobs, get }: { jobs: readonly string[]; get: Get }): Promise<void> {
    const run = ended.has(row.state) ? undefined : await get(row.runId)
    if (run && !ended.has(run.state.name)) {
      if (jobsOf(run).some((job) => jobs.includes(job))) await this.#watch(run)
      return
    }
    for (const job of jobs) await this.#takeIn({ runId: row.runId, job, get })
  }

  async #takeIn({ runId, job, get }: { runId: string; job: string; get: Get }): Promise<void> {
    const kept = await this.#ended.kept(runId, get)
    if (kept.outcomes.jobs[job] === undefined) return
    const memories = this.#memories.get(job) ?? new Map<number, PassMemory>()
    this.#memories.set(job, memories)
    const memory = memories.get(kept.pass) ?? new PassMemory()
    memories.set(kept.pass, memory)
    await memory.takeIn(runId, async () => {
      const found = await this.#ended.snapshot(runId, { kept, get, digestOf: ({ outcomes }) => outcomes?.jobs[job] })
      return found && { rows: found.kept.outcomes.rows, bytes: found.bytes }
    })
  }

  async #watch({ runId, state }: Run): Promise<void> {
    if (this.#watched.has(runId)) return
    const fold = new OutcomeFold(state)
    this.#watched.set(runId, { pass: state.ticket.pass, fold })
    try {
      // Entries that become durable meanwhile come either way; the last page is empty when none is missing.
      for await (const entry of readEntries(this.#database, { runId })) if (entry.index === fold.next) fold.take(entry)
    } catch (error) {
      this.#watched.delete(runId)
      throw error
    }
  }

  /** Told of every run's entries when they are durable. */
  written(runId: string, entries: readonly Entry[]): void {
    const fold = this.#watched.get(runId)?.fold
    if (fold) for (const entry of entries) if (entry.index === fold.next) fold.take(entry)
  }

  /** Told when a run was opened again from its ledger: its state is another object. */
  reopened({ runId, state }: Run): void {
    const watched = this.#watched.get(runId)
    if (watched) watched.fold.state = state
  }

  /** Told when a run has ended and its snapshots are kept. */
  async closed(run: Run, get: Get): Promise<void> {
    const watched = this.#watched.get(run.runId)
    if (!watched) return
    for (const job of jobsOf(run)) await this.#takeIn({ runId: run.runId, job, get })
    this.#watched.delete(run.runId)
  }

  /** What a pass did with a label; undefined where no run of that pass saw it. */
  outcome(of: { readonly job: string; readonly serial: string; readonly cell: number | undefined }, pass: number) {
    const { job, serial, cell } = of
    let found = this.#memories.get(job)?.get(pass)?.outcome(serial, cell)
    for (const watched of this.#watched.values()) {
      if (watched.pass !== pass) continue
      const now = watched.fold.outcome(job, serial, cell)
      if (now) found = found ? joined(found, now) : now
    }
    return found
  }

  #isLost(job: string, pass: number): boolean {
    for (const lost of this.#lost.values()) if (lost.pass === pass && lost.jobs.includes(job)) return true
    return false
  }

  /**
   * Whether an earlier pass did something else with a label than lay the version that is to be laid now: for every earlier pass that
   * the version has layers in; and another version may not lie on it from any. Where a run of an earlier pass can't be read, one may.
   */
  differs(label: LabelNow): boolean {
    const { pass, identity, version, cell, proving } = label
    const needed = version.earlierPasses
    if (identity.serial === undefined) return needed !== undefined
    const of = { job: identity.job, serial: identity.serial, cell }
    for (let earlier = 1; earlier < pass; earlier++) {
      const found = this.outcome(of, earlier)
      if (needed?.includes(earlier)) {
        if (!found || !agrees(found, { version, proving })) return true
      } else if (found && mayLie(found)) {
        if (found.did === 'unclear' || !sameVersion(found, version)) return true
      } else if (this.#isLost(identity.job, earlier)) return true
    }
    return false
  }
}

const agrees = (found: PassOutcome, { version, proving }: Pick<LabelNow, 'version' | 'proving'>): boolean =>
  (found.did === 'laid' || (proving && found.did === 'set-up')) && sameVersion(found, version)
