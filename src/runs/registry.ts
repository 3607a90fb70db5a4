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
  type Readiness,
  wantedVersions,
  weighReadiness,
} from '../lines/index.ts'
import type { CatalogueChange, CatalogueStore } from '../packages/index.ts'
import type { BlobStore, Database, LedgerHead } from '../storage/port.ts'
import { openLayerWatch } from './layer-watch.ts'
import { openResolver } from './resolve.ts'
import { Run } from './run.ts'
import { applyEntry, openState, type RunState, versionKey } from './state.ts'

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

const ended = new Set(['sealed', 'aborted'])

export class Runs {
  private readonly parts: RunsParts
  private readonly layers
  private readonly loading = new Map<string, Promise<Run>>()
  private spreading: Promise<unknown> = Promise.resolve()
  private readonly recalls = new Map<string, RecallOutcome[]>()

  constructor(parts: RunsParts) {
    this.parts = parts
    this.layers = openLayerWatch(parts.blobs)
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
    const { database, ledger } = this.parts
    const { content: ticket } = await getTicket({ database }, order.ticket)
    const { content: line } = await getLine({ database }, order.line)
    const { blockers, frozen } = await this.readiness(order)
    if (frozen.jobs.length === 0) throw notReady(blockers)
    if (blockers.length > 0 && !(order.override && order.why)) throw notReady(blockers)
    const runId = await this.register(order)
    const runLedger = await ledger.open(runId, 1)
    const override = blockers.length > 0 ? { override: canonicalText(blockers) } : {}
    const { entries, durable } = runLedger.append([
      {
        type: 'step',
        body: {
          to: 'ready',
          by: order.by,
          ...(order.why ? { why: order.why } : {}),
          ticket: canonicalText(ticket),
          line: canonicalText(line),
          frozen: canonicalText(frozen),
          ...override,
        },
      },
    ])
    const heads = [await durable]
    const [first] = entries
    assert(first, 'the opening entry was written')
    const run = await this.assemble(openState(runId, first), runLedger, heads)
    this.loading.set(runId, Promise.resolve(run))
    this.parts.onWritten?.(runId, entries)
    return run
  }

  private async register(order: OpenRunOrder): Promise<string> {
    const { database, clock } = this.parts
    return database.catalogue.transaction().execute(async (trx) => {
      const rows = await trx.selectFrom('runs').select('runId').where('ticket', '=', order.ticket).execute()
      const runId = `${order.ticket}.${rows.length + 1}`
      const row = {
        runId,
        ticket: order.ticket,
        line: order.line,
        state: 'ready',
        epoch: 1,
        createdAtMs: clock.nowMs(),
      }
      await trx.insertInto('runs').values(row).execute()
      return runId
    })
  }

  /** The run under this id, opened again from its ledger where it isn't held. Problem `run-not-found`. */
  async get(runId: string): Promise<Run> {
    const known = await this.loading.get(runId)
    if (known && !known.failed) return known
    const loading = this.load(runId)
    this.loading.set(runId, loading)
    loading.catch(() => this.loading.delete(runId))
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
    const epoch = row.epoch + 1
    await database.catalogue.updateTable('runs').set({ epoch }).where('runId', '=', runId).execute()
    const runLedger = await ledger.open(runId, epoch)
    const state = await this.replay(runId)
    return this.assemble(state, runLedger, [...(await database.ledgerHeads(runId))])
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
      resolver: openResolver(state.frozen, outside),
      layerCondition: (digest) => this.layers.condition(digest),
      onWritten: (entries) => {
        onWritten?.(state.runId, entries)
        if (entries.some((entry) => entry.type === 'step')) this.noteState(run).catch(() => undefined)
      },
    })
    await this.noteState(run)
    return run
  }

  private async noteState(run: Run): Promise<void> {
    const { catalogue } = this.parts.database
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

  /** Runs held in memory. */
  async held(): Promise<readonly Run[]> {
    return Promise.all(this.loading.values())
  }

  sweepLayers(): Promise<void> {
    return this.layers.sweep()
  }

  /** What a recall did to each open run that may lay the version; resolves when its entries are durable. */
  async recalled(version: { job: string; design: string; version: number }): Promise<readonly RecallOutcome[]> {
    await this.spreading
    return this.recalls.get(versionKey(version.job, version.design, version.version)) ?? []
  }

  // A recall acts at once on every run that may lay the version.
  private async spread(change: CatalogueChange): Promise<void> {
    for (const recall of change.withdrawn) {
      const outcomes: RecallOutcome[] = []
      for (const run of await this.held()) {
        const job = run.state.frozen.jobs.find((candidate) => candidate.job === recall.job)
        const wanted =
          job && wantedVersions(job).some((v) => v.design === recall.design && v.version === recall.version)
        if (wanted) outcomes.push({ runId: run.runId, ...(await run.withdraw(recall)) })
      }
      this.recalls.set(versionKey(recall.job, recall.design, recall.version), outcomes)
    }
  }
}

function notReady(rows: Readiness['blockers']): Problem {
  const list = rows.map(
    (row) => `${row.code}: ${[row.job, row.design, row.layer].filter(Boolean).join('/')} ${row.message}`,
  )
  const more = rows.length > 5 ? ` and ${rows.length - 5} more` : ''
  return new Problem('not-ready', `${rows.length} blockers: ${list.slice(0, 5).join('; ')}${more}`, {
    measured: rows.length,
    limit: 0,
  })
}
