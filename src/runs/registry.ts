// The runs that this process holds: opens new ones, opens old ones again from their ledgers, hands recalls to all of them.
import { assert } from '../kernel/assert.ts'
import { canonicalText, toDigest } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import { type Entry, type LedgerWriter, type RunLedger, readEntries } from '../ledger/index.ts'
import {
  type Frozen,
  freeze,
  getLine,
  getTicket,
  type LineProfile,
  type Readiness,
  type Ticket,
  wantedVersions,
  weighReadiness,
} from '../lines/index.ts'
import type { CatalogueChange, CatalogueStore } from '../packages/index.ts'
import type { BlobStore, Database, LedgerHead } from '../storage/port.ts'
import { EndedSerials } from './ended-serials.ts'
import type { SerialInRun } from './laid-serials.ts'
import { openLayerWatch } from './layer-watch.ts'
import { openResolver } from './resolve.ts'
import { Run } from './run.ts'
import { forgetUnopened, notReady, registerRun } from './run-rows.ts'
import { applyEntry, isLaidAt, openState, type RunState, versionKey } from './state.ts'

export interface RunsParts {
  readonly database: Database
  readonly blobs: BlobStore
  readonly ledger: LedgerWriter
  readonly catalogue: CatalogueStore
  readonly clock: Clock
  readonly onWritten?: (runId: string, entries: readonly Entry[]) => void
}

export interface RunRow {
  readonly runId: string
  readonly ticket: string
  readonly line: string
  readonly state: string
  readonly createdAtMs: number
}

export interface OpenRunOrder {
  readonly ticket: string
  readonly line: string
  readonly by: string
  readonly why?: string | undefined
  readonly override?: boolean | undefined
}

export interface RecallOutcome {
  readonly runId: string
  readonly revoked: number
}

type Recall = CatalogueChange['withdrawn'][number]

const ended = new Set(['sealed', 'aborted'])

export class Runs {
  private readonly parts: RunsParts
  private readonly layers
  private readonly serials: EndedSerials
  /** Runs held in memory, by id. */
  private readonly live = new Map<string, Run>()
  private readonly loading = new Map<string, Promise<Run>>()
  /** Under which this process holds each run. */
  private readonly epochs = new Map<string, number>()
  private spreading: Promise<unknown> = Promise.resolve()
  private readonly recalls = new Map<string, RecallOutcome[]>()
  /** How many answers a recall revoked, by run and version. */
  private readonly revoked = new Map<string, number>()

  constructor(parts: RunsParts) {
    this.parts = parts
    this.layers = openLayerWatch(parts.blobs)
    this.serials = new EndedSerials(parts)
    parts.catalogue.onChange((change) => {
      this.spreading = this.spreading.then(() => this.spread(change))
    })
  }

  /** Weighs a ticket on a line as things are now. */
  async readiness(names: { ticket: string; line: string }): Promise<Readiness & { frozen: Frozen }> {
    const { database, blobs, catalogue } = this.parts
    const { content: ticket } = await getTicket({ database }, names.ticket)
    const { content: line } = await getLine({ database }, names.line)
    const frozen = freeze(catalogue.current(), ticket)
    const weighed = await weighReadiness({ ticket, line, frozen, condition: (digest) => blobs.condition(digest) })
    return { ...weighed, frozen }
  }

  /** Opens a run in state `ready`. Problem `not-ready` with every blocker, unless a named person overrides with a reason. */
  async open(order: OpenRunOrder): Promise<Run> {
    const { database } = this.parts
    const { content: ticket } = await getTicket({ database }, order.ticket)
    const { content: line } = await getLine({ database }, order.line)
    const { blockers, frozen } = await this.readiness(order)
    if (frozen.jobs.length === 0) throw notReady(blockers)
    if (blockers.length > 0 && !(order.override && order.why)) throw notReady(blockers)
    const runId = await registerRun(this.parts, { ticket, line: order.line })
    const begun = this.hold(runId, this.begin(runId, order, { ticket, line, frozen, blockers }))
    begun.catch(() => forgetUnopened(this.parts.database, runId).catch(() => undefined))
    const run = await begun
    await this.catchUp(run)
    return run
  }

  private async begin(
    runId: string,
    { by, why }: OpenRunOrder,
    opened: { ticket: Ticket; line: LineProfile; frozen: Frozen; blockers: Readiness['blockers'] },
  ): Promise<Run> {
    this.epochs.set(runId, 1)
    const runLedger = await this.parts.ledger.open(runId, 1)
    const body = {
      to: 'ready' as const,
      by,
      ...(why ? { why } : {}),
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
      this.parts.onWritten?.(runId, entries)
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
      if (row.state !== state.name) await this.noteState(run)
      await this.catchUp(run)
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
    const { catalogue, database, clock, onWritten } = this.parts
    const own = new Set(state.frozen.jobs.map((job) => job.job))
    const outside = () => [...catalogue.current().jobs.values()].filter((job) => !own.has(job.job))
    const ruled = await Promise.all(
      state.frozen.jobs.map(async (job) => {
        const designs = [...new Set(job.versions.map((version) => version.design))]
        return { job, rule: await catalogue.ruleOf({ ...job, designs }) }
      }),
    )
    const digests = state.frozen.jobs.flatMap((job) =>
      job.versions.flatMap((version) => version.layers.map((layer) => toDigest(layer.sha256))),
    )
    await this.layers.add(new Set(digests))
    const run: Run = new Run({
      state,
      ledger: runLedger,
      heads,
      database,
      clock,
      resolver: openResolver(ruled, outside),
      layerCondition: (digest) => this.layers.condition(digest),
      laidInOtherRun: (of) => this.laidInOtherRun(of),
      onWritten: (entries) => {
        onWritten?.(state.runId, entries)
        if (entries.some((entry) => entry.type === 'step')) this.noteState(run).catch(() => undefined)
      },
    })
    if (!ended.has(state.name)) {
      const jobs = state.frozen.jobs.map(({ job }) => job)
      await this.serials.load({ jobs, pass: state.ticket.pass }, (runId) => this.get(runId))
    }
    this.live.set(run.runId, run)
    return run
  }

  private laidInOtherRun(of: SerialInRun): boolean {
    for (const { runId, state } of this.live.values()) {
      if (runId !== of.runId && state.ticket.pass === of.pass && isLaidAt(state, of)) return true
    }
    return this.serials.has(of)
  }

  private async noteState(run: Run): Promise<void> {
    const { catalogue } = this.parts.database
    if (ended.has(run.state.name)) await this.serials.keep(run)
    await catalogue.updateTable('runs').set({ state: run.state.name }).where('runId', '=', run.runId).execute()
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

  sweepLayers(): Promise<void> {
    return this.layers.sweep()
  }

  /** What a recall did to each open run that may lay the version; resolves when its entries are durable. */
  async recalled(version: { job: string; design: string; version: number }): Promise<readonly RecallOutcome[]> {
    await this.spreading
    return this.recalls.get(versionKey(version.job, version.design, version.version)) ?? []
  }

  // A recall acts at once on every run that may lay the version. One that can't record it answers nothing more until it is opened
  // again, and catches up then.
  private async spread(change: CatalogueChange): Promise<void> {
    for (const recall of change.withdrawn) {
      const outcomes: RecallOutcome[] = []
      for (const run of await this.held()) {
        // A run that is being closed, or was, lays nothing more.
        if (ended.has(run.state.name) || run.state.name === 'closing') continue
        const job = run.state.frozen.jobs.find((candidate) => candidate.job === recall.job)
        const wanted =
          job && wantedVersions(job).some((v) => v.design === recall.design && v.version === recall.version)
        const outcome = wanted && (await this.recall(run, recall).catch(() => undefined))
        if (outcome) outcomes.push({ runId: run.runId, ...outcome })
      }
      this.recalls.set(versionKey(recall.job, recall.design, recall.version), outcomes)
    }
  }

  /** Once a run: one that was just opened again may have caught up already. */
  private async recall(run: Run, recall: Recall): Promise<{ revoked: number }> {
    const version = versionKey(recall.job, recall.design, recall.version)
    const key = `${run.runId}\n${version}`
    if (run.state.withdrawn.has(version)) return { revoked: this.revoked.get(key) ?? 0 }
    const outcome = await run.withdraw(recall)
    this.revoked.set(key, outcome.revoked)
    return outcome
  }

  // A recall may have been stored while the run was being opened, or just before the process died.
  private async catchUp(run: Run): Promise<void> {
    const { catalogue } = this.parts
    for (const job of run.state.frozen.jobs) {
      const published = catalogue.current().jobs.get(job.job)
      for (const { design, version, withdrawn } of wantedVersions(job)) {
        const now = published?.designs.get(design)?.find((row) => row.version === version)
        if (withdrawn || now?.withdrawnAtMs === undefined) continue
        const named = { job: job.job, design, version }
        await this.recall(run, { ...named, ...(await this.recallerOf(named)) })
      }
    }
  }

  private async recallerOf(version: { job: string; design: string; version: number }) {
    const row = await this.parts.database.catalogue
      .selectFrom('acts')
      .select(['by', 'why'])
      .where('act', '=', 'withdraw')
      .where('job', '=', version.job)
      .where('design', '=', version.design)
      .where('version', '=', version.version)
      .executeTakeFirst()
    return row ?? { by: 'rollcall', why: 'recalled' }
  }
}
