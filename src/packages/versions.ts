// Release and withdrawal of published versions: each one transaction with its act, then the catalogue.
import type { Transaction } from 'kysely'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database, Tables } from '../storage/port.ts'
import type { CatalogueStore } from './catalogue-store.ts'
import { type Person, requirePerson } from './named-act.ts'

export interface VersionsDeps {
  readonly database: Pick<Database, 'catalogue'>
  readonly catalogue: CatalogueStore
  readonly clock: Clock
}

export interface ReleaseRequest extends Person {
  readonly job: string
  /** All versions that the package carries, or one version of one design. */
  readonly what: { readonly package: number } | { readonly design: string; readonly version: number }
}

export interface Released {
  readonly outcome: 'released' | 'unchanged'
  /** Versions that were checked before and are released now. */
  readonly versions: readonly { readonly design: string; readonly version: number }[]
}

export interface WithdrawRequest extends Person {
  readonly job: string
  readonly design: string
  readonly version: number
}

export interface Withdrawal {
  readonly outcome: 'withdrawn' | 'unchanged'
}

interface Row {
  readonly design: string
  readonly version: number
  readonly releasedAtMs: number | null
  readonly withdrawnAtMs: number | null
}

const columns = ['versions.design', 'versions.version', 'versions.releasedAtMs', 'versions.withdrawnAtMs'] as const

async function rowsOfPackage(tables: Transaction<Tables>, job: string, number: number): Promise<readonly Row[]> {
  const rows = await tables
    .selectFrom('packageVersions')
    .innerJoin('versions', (join) =>
      join
        .onRef('versions.job', '=', 'packageVersions.job')
        .onRef('versions.design', '=', 'packageVersions.design')
        .onRef('versions.version', '=', 'packageVersions.version'),
    )
    .select(columns)
    .where('packageVersions.job', '=', job)
    .where('packageVersions.package', '=', number)
    .execute()
  if (rows.length === 0) throw new Problem('package-not-found', `package ${number} of ${job} is not published`)
  return rows
}

async function rowOfVersion(
  tables: Transaction<Tables>,
  { job, design, version }: { job: string; design: string; version: number },
): Promise<Row> {
  const row = await tables
    .selectFrom('versions')
    .select(columns)
    .where('job', '=', job)
    .where('design', '=', design)
    .where('version', '=', version)
    .executeTakeFirst()
  if (!row) throw new Problem('version-not-found', `version ${version} of ${job} ${design} is not published`)
  return row
}

function refuseWithdrawn(rows: readonly Row[]): void {
  const withdrawn = rows.filter((row) => row.withdrawnAtMs !== null)
  if (withdrawn.length === 0) return
  const names = withdrawn.slice(0, 20).map(({ design, version }) => `${design} ${version}`)
  const more = withdrawn.length > names.length ? ` and ${withdrawn.length - names.length} more` : ''
  throw new Problem('version-state', `withdrawn versions cannot be released: ${names.join(', ')}${more}`, {
    measured: 'withdrawn',
    limit: 'checked',
  })
}

interface Act extends Person {
  readonly act: 'release' | 'withdraw'
  readonly job: string
  readonly atMs: number
  readonly package?: number
  readonly design?: string
  readonly version?: number
}

async function recordAct(tables: Transaction<Tables>, act: Act): Promise<void> {
  await tables
    .insertInto('acts')
    .values({
      atMs: act.atMs,
      act: act.act,
      by: act.by,
      why: act.why,
      second: act.second ?? null,
      key: act.key ?? null,
      secondKey: act.secondKey ?? null,
      job: act.job,
      package: act.package ?? null,
      design: act.design ?? null,
      version: act.version ?? null,
    })
    .execute()
}

/**
 * Releases checked versions, one or all of a package; those released before stay as they are. Problems: `package-not-found`,
 * `version-not-found`, `version-state` when one of them is withdrawn (then none is released), `bad-request` without name or reason.
 */
export async function release(deps: VersionsDeps, request: ReleaseRequest): Promise<Released> {
  requirePerson(request)
  const { job, what, ...person } = request
  const atMs = deps.clock.nowMs()
  const versions = await deps.database.catalogue.transaction().execute(async (tables) => {
    const rows =
      'package' in what
        ? await rowsOfPackage(tables, job, what.package)
        : [await rowOfVersion(tables, { job, ...what })]
    refuseWithdrawn(rows)
    const fresh = rows.filter((row) => row.releasedAtMs === null)
    for (const { design, version } of fresh) {
      await tables
        .updateTable('versions')
        .set({ releasedAtMs: atMs })
        .where('job', '=', job)
        .where('design', '=', design)
        .where('version', '=', version)
        .execute()
    }
    if (fresh.length > 0) await recordAct(tables, { act: 'release', job, ...person, atMs, ...what })
    return fresh.map(({ design, version }) => ({ design, version }))
  })
  if (versions.length === 0) return { outcome: 'unchanged', versions }
  await deps.catalogue.refresh({ job })
  return { outcome: 'released', versions }
}

const present = ({ by, why, second, key, secondKey }: Person) => ({
  by,
  why,
  ...(second === undefined ? {} : { second }),
  ...(key === undefined ? {} : { key }),
  ...(secondKey === undefined ? {} : { secondKey }),
})

/**
 * Withdraws a version for good, whatever its state; listeners of the catalogue hear of it at once. Problems: `version-not-found`,
 * `bad-request` without name or reason.
 */
export async function withdraw(deps: VersionsDeps, request: WithdrawRequest): Promise<Withdrawal> {
  requirePerson(request)
  const { job, design, version, ...person } = request
  const atMs = deps.clock.nowMs()
  const isNew = await deps.database.catalogue.transaction().execute(async (tables) => {
    const row = await rowOfVersion(tables, { job, design, version })
    if (row.withdrawnAtMs !== null) return false
    await tables
      .updateTable('versions')
      .set({ withdrawnAtMs: atMs })
      .where('job', '=', job)
      .where('design', '=', design)
      .where('version', '=', version)
      .execute()
    await recordAct(tables, { act: 'withdraw', job, design, version, ...person, atMs })
    return true
  })
  if (!isNew) return { outcome: 'unchanged' }
  await deps.catalogue.refresh({ job, withdrawn: [{ job, design, version, ...present(person) }] })
  return { outcome: 'withdrawn' }
}
