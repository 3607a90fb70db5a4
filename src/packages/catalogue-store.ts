// The catalogue in memory: read from the database at the start, job by job again after each act.

import type { Rule } from '../codes/index.ts'
import { assert } from '../kernel/assert.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import type { Catalogue, CatalogueChange, JobRecord, VersionRecord } from './catalogue.ts'
import { type CodeIndexes, openCodeIndexes } from './code-indexes.ts'
import { compileRule } from './compile-rule.ts'
import { type Manifest, type ManifestLayer, manifestSchema } from './manifest.ts'
import { versionState } from './version-state.ts'

export type Withdrawn = CatalogueChange['withdrawn'][number]

export interface CatalogueStore {
  current(): Catalogue
  /** Reads one job again (all without a name) and tells the listeners. Resolves when they have been told. */
  /** The rule of a job as it was frozen: its code indexes may be older than the newest ones. */
  ruleOf(job: RuleOrder): Promise<Rule>
  refresh(change?: { readonly job?: string; readonly withdrawn?: readonly Withdrawn[] }): Promise<Catalogue>
  /** Registers a listener; the function returned takes it away again. A listener's failure is a bug and fails the act's caller. */
  onChange(listener: (change: CatalogueChange) => void): () => void
}

export interface RuleOrder {
  readonly job: string
  readonly code: Manifest['code']
  readonly designs: readonly string[]
  readonly codeIndexes: readonly string[]
}

type Tables = Database['catalogue']

interface Sources {
  readonly tables: Tables
  readonly indexes: CodeIndexes
}

interface VersionRow {
  readonly design: string
  readonly version: number
  readonly digest: string
  readonly content: string
  readonly releasedAtMs: number | null
  readonly withdrawnAtMs: number | null
}

interface VersionContent {
  readonly printVersions: readonly string[]
  readonly layers: readonly ManifestLayer[]
}

function designsOf(
  job: string,
  rows: readonly VersionRow[],
  packagesOf: ReadonlyMap<string, readonly number[]>,
): ReadonlyMap<string, readonly VersionRecord[]> {
  const byDesign = new Map<string, { row: VersionRow; content: VersionContent }[]>()
  for (const row of rows) {
    const own = byDesign.get(row.design) ?? []
    byDesign.set(row.design, own)
    own.push({ row, content: JSON.parse(row.content) as VersionContent })
  }
  const designs = new Map<string, readonly VersionRecord[]>()
  for (const [design, own] of byDesign) {
    const states = versionState(own.map(({ row, content }) => ({ ...row, printVersions: content.printVersions })))
    const records = own.map(
      ({ row, content }): VersionRecord => ({
        job,
        design,
        version: row.version,
        digest: row.digest,
        state: states(row.version),
        printVersions: content.printVersions,
        layers: content.layers,
        packages: packagesOf.get(`${design}/${row.version}`) ?? [],
        ...(row.releasedAtMs === null ? {} : { releasedAtMs: row.releasedAtMs }),
        ...(row.withdrawnAtMs === null ? {} : { withdrawnAtMs: row.withdrawnAtMs }),
      }),
    )
    designs.set(design, records)
  }
  return designs
}

async function readPackagesOf(tables: Tables, job: string): Promise<ReadonlyMap<string, readonly number[]>> {
  const rows = await tables
    .selectFrom('packageVersions')
    .select(['package', 'design', 'version'])
    .where('job', '=', job)
    .orderBy('package')
    .execute()
  const carried = new Map<string, number[]>()
  for (const row of rows) {
    const key = `${row.design}/${row.version}`
    const numbers = carried.get(key) ?? []
    numbers.push(row.package)
    carried.set(key, numbers)
  }
  return carried
}

async function readManifest(tables: Tables, job: string, number: number): Promise<Manifest> {
  const { manifest } = await tables
    .selectFrom('packages')
    .select('manifest')
    .where('job', '=', job)
    .where('package', '=', number)
    .executeTakeFirstOrThrow()
  return manifestSchema.parse(JSON.parse(manifest))
}

async function readJob({ tables, indexes }: Sources, job: string): Promise<JobRecord | undefined> {
  const packages = await tables
    .selectFrom('packages')
    .select(['package', 'digest', 'publishedAtMs', 'by', 'codeIndex'])
    .where('job', '=', job)
    .orderBy('package')
    .execute()
  const newest = packages.at(-1)
  if (!newest) return undefined
  const manifest = await readManifest(tables, job, newest.package)
  const versions = await tables
    .selectFrom('versions')
    .select(['design', 'version', 'digest', 'content', 'releasedAtMs', 'withdrawnAtMs'])
    .where('job', '=', job)
    .orderBy('design')
    .orderBy('version')
    .execute()
  const designs = designsOf(job, versions, await readPackagesOf(tables, job))
  const codeIndexes = packages.flatMap(({ codeIndex }) => codeIndex ?? []).toReversed()
  const order = { job, code: manifest.code, designs: [...designs.keys()], codeIndexes: [...new Set(codeIndexes)] }
  return {
    job,
    title: manifest.title,
    frame: manifest.frame,
    code: manifest.code,
    rule: await ruleOf(indexes, order),
    codeIndexes: order.codeIndexes,
    designs,
    packages: packages.map(({ codeIndex: _, ...row }) => row),
  }
}

async function ruleOf(indexes: CodeIndexes, { job, code, designs, codeIndexes }: RuleOrder): Promise<Rule> {
  const open = code.rule === 'table' ? await indexes.all(codeIndexes) : []
  return compileRule(code, { job, designs, indexes: open })
}

// The last act's number: it rises with every publish, release and withdrawal, and is the same in every process.
async function readRevision(tables: Tables): Promise<number> {
  const row = await tables
    .selectFrom('acts')
    .select(({ fn }) => fn.max('id').as('last'))
    .executeTakeFirst()
  return Number(row?.last ?? 0)
}

async function readJobNames(tables: Tables): Promise<readonly string[]> {
  const rows = await tables.selectFrom('packages').select('job').distinct().orderBy('job').execute()
  return rows.map((row) => row.job)
}

/** Opens the catalogue over a database and reads it once. */
export async function openCatalogue({
  database,
  blobs,
  report = () => undefined,
}: {
  readonly database: Pick<Database, 'catalogue'>
  /** Where code indexes lie. */
  readonly blobs: Pick<BlobStore, 'localFile'>
  /** Told of a code index that can't be opened; its codes are unknown until it can. */
  readonly report?: (digest: string, error: unknown) => void
}): Promise<CatalogueStore> {
  const tables = database.catalogue
  const sources: Sources = { tables, indexes: openCodeIndexes(blobs, report) }
  const listeners = new Set<(change: CatalogueChange) => void>()
  let current: Catalogue = { revision: 0, jobs: new Map() }
  let reading: Promise<unknown> = Promise.resolve()

  const read = async (names: readonly string[]): Promise<void> => {
    const revision = await readRevision(tables)
    const jobs = new Map(current.jobs)
    for (const name of names) {
      const record = await readJob(sources, name)
      if (record) jobs.set(name, record)
    }
    assert(revision >= current.revision, 'the catalogue never goes back')
    current = { revision, jobs }
  }

  const refresh: CatalogueStore['refresh'] = ({ job, withdrawn = [] } = {}) => {
    // One after the other, so that an older state never replaces a newer one.
    const done = reading.then(async () => {
      await read(job === undefined ? await readJobNames(tables) : [job])
      for (const listener of listeners) listener({ catalogue: current, withdrawn })
      return current
    })
    reading = done.catch(() => undefined)
    return done
  }

  await refresh()
  return {
    current: () => current,
    ruleOf: (order) => ruleOf(sources.indexes, order),
    refresh,
    onChange(listener) {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
  }
}
