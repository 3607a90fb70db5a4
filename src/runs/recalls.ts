// Recalls: each reaches every run that may lay the version, at once, or when a run that could not be reached is opened again.
import { wantedVersions } from '../lines/index.ts'
import type { CatalogueChange, CatalogueStore } from '../packages/index.ts'
import type { Database } from '../storage/port.ts'
import type { Run } from './run.ts'
import { jobsOf, versionKey } from './state.ts'

export interface RecallOutcome {
  readonly runId: string
  readonly revoked: number
}

export interface VersionName {
  readonly job: string
  readonly design: string
  readonly version: number
}

type Recall = CatalogueChange['withdrawn'][number]

interface Parts {
  readonly database: Database
  readonly catalogue: CatalogueStore
}

// A run that is being closed, or was, lays nothing more.
const laysNoMore = new Set(['closing', 'sealed', 'aborted'])

export class Recalls {
  private readonly parts: Parts
  private readonly held: () => Promise<readonly Run[]>
  private spreading: Promise<unknown> = Promise.resolve()
  private readonly found = new Map<string, RecallOutcome[]>()
  /** How many answers a recall revoked, by run and version. */
  private readonly revoked = new Map<string, number>()

  /** `held` gives the runs of this process. */
  constructor(parts: Parts, held: () => Promise<readonly Run[]>) {
    this.parts = parts
    this.held = held
    parts.catalogue.onChange((change) => {
      this.spreading = this.spreading.then(() => this.spread(change))
    })
  }

  /** What a recall did to each open run that may lay the version; resolves when its entries are durable. */
  async outcomes(version: VersionName): Promise<readonly RecallOutcome[]> {
    await this.spreading
    return this.found.get(versionKey(version.job, version.design, version.version)) ?? []
  }

  // A recall acts at once on every run that may lay the version. One that can't record it answers nothing more until it is opened
  // again, and catches up then.
  private async spread(change: CatalogueChange): Promise<void> {
    for (const recall of change.withdrawn) {
      const outcomes: RecallOutcome[] = []
      for (const run of await this.held()) {
        if (laysNoMore.has(run.state.name)) continue
        const wanted = jobsOf(run.state)
          .filter(({ job }) => job === recall.job)
          .flatMap(wantedVersions)
          .some(({ design, version }) => design === recall.design && version === recall.version)
        const outcome = wanted && (await this.recall(run, recall).catch(() => undefined))
        if (outcome) outcomes.push({ runId: run.runId, ...outcome })
      }
      this.found.set(versionKey(recall.job, recall.design, recall.version), outcomes)
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

  /** A recall may have been stored while the run was being opened or its ticket changed, or just before the process died. */
  async catchUp(run: Run): Promise<void> {
    const { catalogue } = this.parts
    for (const job of jobsOf(run.state)) {
      const published = catalogue.current().jobs.get(job.job)
      for (const { design, version, withdrawn } of wantedVersions(job)) {
        const now = published?.designs.get(design)?.find((row) => row.version === version)
        if (withdrawn || now?.withdrawnAtMs === undefined) continue
        const named = { job: job.job, design, version }
        await this.recall(run, { ...named, ...(await this.recallerOf(named)) })
      }
    }
  }

  private async recallerOf(version: VersionName) {
    const row = await this.parts.database.catalogue
      .selectFrom('acts')
      .select(['by', 'why', 'second', 'key', 'secondKey'])
      .where('act', '=', 'withdraw')
      .where('job', '=', version.job)
      .where('design', '=', version.design)
      .where('version', '=', version.version)
      .executeTakeFirst()
    if (!row) return { by: 'rollcall', why: 'recalled' }
    return Object.fromEntries(Object.entries(row).filter(([, text]) => text !== null)) as { by: string; why: string }
  }
}
