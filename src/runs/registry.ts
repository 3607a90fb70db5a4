// The runs that this process holds: opens new ones, opens old ones again from their ledgers, hands recalls to all of them.
import { assert } from '../kernel/assert.ts'
import { canonicalText } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import { type Entry, type LedgerWriter, type RunLedger, readEntries } from '../ledger/index.ts'
import type { Frozen, FrozenJob, LineProfile, Readiness, Ticket } from '../lines/index.ts'
import type { CatalogueStore, LayerSums } from '../packages/index.ts'
import type { BlobStore, Database, LedgerHead } from '../storage/port.ts'
import type { AwaitedReads } from './awaited-reads.ts'
import { EarlierPasses } from './earlier-pass.ts'
import { earlierPassRows } from './earlier-pass-rows.ts'
import { EndedSerials } from './ended-serials.ts'
import { type ExpectedStore, openExpected } from './expected-store.ts'
import { applyEntry } from './fold.ts'
import { demandOrientation } from './geometry.ts'
import type { SerialInRun } from './laid-serials.ts'
import { openLayerWatch } from './layer-watch.ts'
import { passRuns } from './pass-runs.ts'
import { openReadiness, type ReadinessDesk } from './readiness.ts'
import { type RecallOutcome, Recalls, type VersionName } from './recalls.ts'
import type { Resolver } from './resolve.ts'
import { resolverOver } from './resolver-over.ts'
import { Run } from './run.ts'
import { demandState, demandTwo, type Person, personOf, takesFrames } from './run-acts.ts'
import { forgetUnopened, jobsText, notReady, registerRun } from './run-rows.ts'
import { isLaidAt, jobsOf, openState, type RunState } from './state.ts'
import { type ChangeTicketOrder, layersOf, textsOf, weighNextTicket } from './ticket-change.ts'

export interface RunsParts {
  readonly database: Database
  readonly blobs: BlobStore
  readonly ledger: LedgerWriter
  readonly catalogue: CatalogueStore
  readonly clock: Clock
  /** Absent: readiness without the sums. */
  readonly layerSums?: LayerSums
  /** Reads that come apart from frame events, such as those of plain code readers. */
  readonly awaited?: AwaitedReads
  readonly onWritten?: (run: Run, entries: readonly Entry[]) => void
}

export interface RunRow {
  readonly runId: string
  readonly ticket: string
  readonly line: string
  readonly state: string
  readonly createdAtMs: number
}

export interface OpenRunOrder extends Person {
  readonly ticket: string
  readonly line: string
  readonly override?: boolean | undefined
}

const ended = new Set(['sealed', 'aborted'])

export class Runs {
  private readonly parts: RunsParts
  private readonly layers
  /** Weighs a ticket on a line as things are now. */
  readonly readiness: ReadinessDesk['weigh']
  /** What stands against other reels than those of the ticket. */
  readonly reelsInstead: ReadinessDesk['reelsInstead']
  /** Another one whenever the readiness may be another; cheap. */
  readonly readinessRevision: ReadinessDesk['revision']
  /** What the sequence of a run's ticket expects, for outlooks. */
  readonly expected: ExpectedStore
  private readonly serials: EndedSerials
  private readonly earlier: EarlierPasses
  /** Runs held in memory, by id. */
  private readonly live = new Map<string, Run>()
  private readonly loading = new Map<string, Promise<Run>>()
  /** Under which this process holds each run. */
  private readonly epochs = new Map<string, number>()
  private noting: Promise<unknown> = Promise.resolve()
  private readonly recalls: Recalls

  constructor(parts: RunsParts) {
    this.parts = parts
    this.layers = openLayerWatch(parts.blobs)
    const { weigh, reelsInstead, revision } = openReadiness(parts, (of) => earlierPassRows(parts.database, of))
    this.readiness = weigh
    this.reelsInstead = reelsInstead
    this.readinessRevision = revision
    this.expected = openExpected(parts)
    this.serials = new EndedSerials(parts)
    this.earlier = new EarlierPasses({ database: parts.database, ended: this.serials })
    this.recalls = new Recalls(parts, () => this.held())
  }

  /**
   * Opens a run in state `ready`. Problems: `not-ready` with every blocker, unless a named person overrides with a reason;
   * `orientation-impossible`, which nobody can override.
   */
  async open(order: OpenRunOrder): Promise<Run> {
    demandTwo(order)
    const { ticket, line, blockers, frozen } = await this.readiness(order)
    const [first] = frozen.jobs
    if (!first) throw notReady(blockers)
    if (blockers.length > 0 && !(order.override && order.why)) throw notReady(blockers)
    demandOrientation(first.frame, ticket, line)
    const runId = await registerRun(this.parts, { ticket, line: order.line })
    const begun = this.hold(runId, this.begin(runId, order, { ticket, line, frozen, blockers }))
    begun.catch(() => forgetUnopened(this.parts.database, runId).catch(() => undefined))
    const run = await begun
    await this.recalls.catchUp(run)
    return run
  }

  private async begin(
    runId: string,
    order: OpenRunOrder,
    opened: { ticket: Ticket; line: LineProfile; frozen: Frozen; blockers: Readiness['blockers'] },
  ): Promise<Run> {
    this.epochs.set(runId, 1)
    const runLedger = await this.parts.ledger.open(runId, 1)
    const body = {
      to: 'ready' as const,
      ...personOf(order),
      ticket: canonicalText(opened.ticket),
      line: canonicalText(opened.line),
      frozen: canonicalText(opened.frozen),
      ...(opened.blockers.length > 0 ? { override: canonicalText(opened.blockers) } : {}),
    }
    try {
      const { entries, durable } = runLedger.append([{ type: 'step', body }])
      const heads = [await durable]
      const [first] = entries
      assert(first, 'the opening entry was written')
      const run = await this.assemble(openState(runId, first), runLedger, heads)
      this.parts.onWritten?.(run, entries)
      return run
    } catch (error) {
      await runLedger.close()
      throw error
    }
  }

  /** The run under this id, opened again from its ledger where it isn't held or a commit failed. Problem `run-not-found`. */
  async get(runId: string): Promise<Run> {
    for (let held = this.loading.get(runId); held; held = this.loading.get(runId)) {
      const run = await held
      if (!run.failed) return run
      // Whoever sees first that it failed opens it again; the others wait for that one.
      if (this.loading.get(runId) === held) break
    }
    return this.hold(runId, this.load(runId))
  }

  private hold(runId: string, loading: Promise<Run>): Promise<Run> {
    this.loading.set(runId, loading)
    loading.catch(() => {
      if (this.loading.get(runId) === loading) this.loading.delete(runId)
    })
    return loading
  }

  /** Problem `run-not-found` for an id that no run has; does not open the run. */
  async demandKnown(runId: string): Promise<void> {
    const row = await this.parts.database.catalogue
      .selectFrom('runs')
      .select('runId')
      .where('runId', '=', runId)
      .executeTakeFirst()
    if (!row) throw new Problem('run-not-found', `no run ${runId}`)
  }

  private async load(runId: string): Promise<Run> {
    const { database, ledger } = this.parts
    const row = await database.catalogue.selectFrom('runs').selectAll().where('runId', '=', runId).executeTakeFirst()
    if (!row) throw new Problem('run-not-found', `no run ${runId}`)
    const runLedger = await ledger.open(runId, await this.takeEpoch(row))
    try {
      const state = await this.replay(runId)
      const run = await this.assemble(state, runLedger, [...(await database.ledgerHeads(runId))])
      const jobs = jobsText(state.tickets.map(({ ticket }) => ticket))
      if (row.state !== state.name || row.jobs !== jobs) await this.noteState(run)
      await this.recalls.catchUp(run)
      return run
    } catch (error) {
      await runLedger.close()
      throw error
    }
  }

  // One a process: opening a run again after a failed commit needs no new one, and so no room on a full disk.
  private async takeEpoch({ runId, epoch }: { runId: string; epoch: number }): Promise<number> {
    const held = this.epochs.get(runId)
    if (held !== undefined) return held
    const { catalogue } = this.parts.database
    await catalogue
      .updateTable('runs')
      .set({ epoch: epoch + 1 })
      .where('runId', '=', runId)
      .execute()
    this.epochs.set(runId, epoch + 1)
    return epoch + 1
  }

  private async replay(runId: string): Promise<RunState> {
    let state: RunState | undefined
    for await (const entry of readEntries(this.parts.database, { runId })) {
      if (state) applyEntry(state, entry)
      else state = openState(runId, entry)
    }
    if (!state) throw new Problem('run-not-found', `run ${runId} was never opened: its ledger is empty`)
    return state
  }

  private async assemble(state: RunState, runLedger: RunLedger, heads: LedgerHead[]): Promise<Run> {
    const { database, clock, onWritten, awaited } = this.parts
    const resolvers: Resolver[] = []
    for (const { frozen } of state.tickets) resolvers.push(await this.resolverOf(frozen))
    const run: Run = new Run({
      state,
      ledger: runLedger,
      heads,
      database,
      clock,
      resolvers,
      ...(awaited ? { awaited } : {}),
      layerCondition: (digest) => this.layers.condition(digest),
      laidInOtherRun: (of) => this.laidInOtherRun(of),
      differsFromEarlier: (label) => this.earlier.differs(label),
      onWritten: (entries) => {
        this.earlier.written(state.runId, entries)
        onWritten?.(run, entries)
        if (entries.some((entry) => entry.type === 'step')) this.noteLater(run)
      },
    })
    this.earlier.reopened(run)
    if (!ended.has(state.name)) {
      await this.loadSerials(jobsOf(state), state.ticket.pass)
      await this.earlier.prepare(run, (runId) => this.get(runId))
    }
    this.live.set(run.runId, run)
    return run
  }

  /** Over what one ticket of a run may use; its layers are watched from now on. */
  private async resolverOf({ jobs }: Frozen): Promise<Resolver> {
    await this.layers.add(new Set(layersOf(jobs)))
    return resolverOver(this.parts.catalogue, jobs)
  }

  private loadSerials(jobs: readonly FrozenJob[], pass: number): Promise<void> {
    return this.serials.load({ jobs: jobs.map(({ job }) => job), pass }, (runId) => this.get(runId))
  }

  /**
   * The next ticket of a run, from the next frame on. Problems: `not-ready` with every blocker, unless a named person overrides, and
   * `ticket-needs-new-run`.
   */
  async changeTicket(run: Run, order: ChangeTicketOrder): Promise<void> {
    demandTwo(order)
    demandState(run.state, takesFrames)
    const next = await weighNextTicket({ ...this.parts, weigh: this.readiness }, run.state, order)
    const resolver = await this.resolverOf(next.frozen)
    await this.loadSerials(next.frozen.jobs, run.state.ticket.pass)
    const jobs = next.frozen.jobs.map(({ job }) => job)
    await this.earlier.prepare(run, (runId) => this.get(runId), jobs)
    await run.changeTicket(order, textsOf(next), resolver)
    await this.recalls.catchUp(run)
  }

  private laidInOtherRun(of: SerialInRun): boolean {
    for (const { runId, state } of this.live.values()) {
      if (runId !== of.runId && state.ticket.pass === of.pass && isLaidAt(state, of)) return true
    }
    return this.serials.has(of)
  }

  private noteLater(run: Run): void {
    this.noting = Promise.allSettled([this.noting, this.noteState(run)])
  }

  /** Resolves when what is noted behind the runs' last entries is written; to be awaited before the database is closed. */
  async settled(): Promise<void> {
    await this.noting
  }

  private async noteState(run: Run): Promise<void> {
    const { catalogue } = this.parts.database
    const row = { state: run.state.name, jobs: jobsText(run.state.tickets.map(({ ticket }) => ticket)) }
    await catalogue.updateTable('runs').set(row).where('runId', '=', run.runId).execute()
    // Whoever needs what a run laid and finds nothing kept, since a crash came first, gathers it from the ledger.
    if (!ended.has(run.state.name)) return
    await this.serials.keep(run)
    await this.earlier.closed(run, (runId) => this.get(runId))
  }

  /** All runs, newest first. */
  async list(): Promise<readonly RunRow[]> {
    const rows = this.parts.database.catalogue
      .selectFrom('runs')
      .select(['runId', 'ticket', 'line', 'state', 'createdAtMs'])
    return rows.orderBy('createdAtMs', 'desc').execute()
  }

  /**
   * Opens every run again that has not ended; called at start. A run that never got its first entry is forgotten; one whose ledger
   * is damaged is told of and left alone.
   */
  async resume(tell: (runId: string, error: unknown) => void): Promise<readonly Run[]> {
    const open = (await this.list()).filter((row) => !ended.has(row.state))
    const runs: Run[] = []
    for (const row of open) {
      const head = await this.parts.database.ledgerHead(row.runId)
      if (!head) await this.parts.database.catalogue.deleteFrom('runs').where('runId', '=', row.runId).execute()
      else {
        const run = await this.get(row.runId).catch((error) => tell(row.runId, error))
        if (run) runs.push(run)
      }
    }
    return runs
  }

  /** Runs held in memory; one whose ledger failed is opened again, and left out while that fails. */
  async held(): Promise<readonly Run[]> {
    const settled = await Promise.allSettled([...this.loading.keys()].map((runId) => this.get(runId)))
    return settled.flatMap((result) => (result.status === 'fulfilled' ? [result.value] : []))
  }

  /** The run on a line that takes frames now; of several the one opened last. */
  async onLine(line: string): Promise<Run | undefined> {
    const runs = (await this.held()).filter(({ state }) => state.line.line === line && takesFrames.has(state.name))
    return runs.toSorted((a, b) => b.state.openedAtMs - a.state.openedAtMs)[0]
  }

  /** Every run with what became of its labels, for reports across passes. */
  passRuns(): ReturnType<typeof passRuns> {
    return passRuns({ database: this.parts.database, ended: this.serials, get: (runId) => this.get(runId) })
  }

  sweepLayers(): Promise<void> {
    return this.layers.sweep()
  }

  /** What a recall did to each open run that may lay the version; resolves when its entries are durable. */
  recalled(version: VersionName): Promise<readonly RecallOutcome[]> {
    return this.recalls.outcomes(version)
  }
}
