// Publishing: take in, check, store the layers, and one short transaction that makes it all appear at once.
import { rm } from 'node:fs/promises'
import { join } from 'node:path'
import { type Digest, toDigest } from '../kernel/bytes.ts'
import type { Clock, RandomBytes } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import type { CatalogueStore } from './catalogue-store.ts'
import { readTable, type StagedTable, type TableReading } from './code-table.ts'
import { isPublished, nothingKnown } from './known.ts'
import { createLocks } from './locks.ts'
import type { Manifest } from './manifest.ts'
import type { ManifestReport } from './manifest-check.ts'
import { requireName } from './named-act.ts'
import { type CheckResult, checkOpened, type OpenedPackage, type PackageThreads, runTask } from './package-check.ts'
import { insertPackage, readKnown } from './package-rows.ts'
import { type IntakeLimits, stagingRoot } from './staging.ts'

/** Told how far work has come: share from 0 to 1, and what is being done. */
export type Progress = (share: number, note: string) => void

export interface PackagesDeps {
  readonly database: Pick<Database, 'catalogue'>
  readonly blobs: BlobStore
  readonly catalogue: CatalogueStore
  readonly threads: PackageThreads
  /** Folder for staging, in the data directory. */
  readonly spool: string
  readonly clock: Clock
  readonly random: RandomBytes
  readonly held?: IntakeLimits
}

export interface SourceOptions {
  /** A folder or a ZIP. It is only read. */
  readonly path: string
  readonly progress?: Progress
  readonly signal?: AbortSignal
}

export interface PublishOptions extends SourceOptions {
  /** Who publishes; goes into the record. */
  readonly by: string
}

/** What a check says; nothing is published. */
export interface CheckReport extends CheckResult {
  readonly job?: string
  readonly package?: number
  readonly title?: string
  readonly bytes: number
  readonly files: number
  /** The very same package is published already; its pictures were not looked at again. */
  readonly unchanged: boolean
}

export interface Published {
  readonly outcome: 'published' | 'unchanged'
  readonly job: string
  readonly package: number
  readonly digest: string
  /** Stored files that were missing or damaged, and that the same package given again put right. */
  readonly mended: number
  /** Versions that this package brought. */
  readonly newVersions: readonly { readonly design: string; readonly version: number }[]
  readonly bytes: number
}

export interface Packages {
  /** Checks a source without publishing it. Problems as those of taking in: `zip-bad`, `file-changed` and the like. */
  check(options: SourceOptions): Promise<CheckReport>
  /**
   * Publishes a source, or says that it is published already. Problems: `package-refused` with every finding, those of taking in,
   * `data-full`. Nothing stays of a package that is not published.
   */
  publish(options: PublishOptions): Promise<Published>
}

const blobsAtOnce = 8
const noProgress: Progress = () => undefined

async function storeLayers(
  { blobs }: PackagesDeps,
  { staged, report }: OpenedPackage,
  { progress, signal }: { progress: (share: number) => void; signal: AbortSignal | undefined },
): Promise<void> {
  const byStored = new Map(staged.files.map((file) => [file.stored, file]))
  const waiting = report.layerFiles.flatMap(({ stored }) => byStored.get(stored) ?? [])
  const total = waiting.length
  let done = 0
  const storeNext = async (): Promise<void> => {
    for (let file = waiting.pop(); file; file = waiting.pop()) {
      signal?.throwIfAborted()
      await blobs.put({ path: file.stored }, file.digest)
      done += 1
      progress(done / total)
    }
  }
  const results = await Promise.allSettled(Array.from({ length: blobsAtOnce }, storeNext))
  for (const result of results) if (result.status === 'rejected') throw result.reason
}

const counted = (count: number): string => (count === 1 ? '1 finding' : `${count} findings`)

function refuse(manifest: Manifest | undefined, { findings, findingsMore }: CheckResult): never {
  const name = manifest ? `package ${manifest.package} of ${manifest.job}` : 'the package'
  const cut = findingsMore > 0 ? `; the first ${findings.length} are listed` : ''
  throw new Problem(
    'package-refused',
    `${name} has ${counted(findings.length + findingsMore)} and was not published${cut}`,
    {
      findings,
    },
  )
}

interface Examined {
  readonly opened: OpenedPackage
  readonly result: CheckResult
  readonly unchanged: boolean
  readonly table?: StagedTable
}

async function withOpened<T>(
  deps: PackagesDeps,
  { path, signal, progress = noProgress }: SourceOptions,
  use: (opened: OpenedPackage) => Promise<T>,
): Promise<T> {
  const into = join(stagingRoot(deps.spool), Buffer.from(deps.random(8)).toString('hex'))
  const held = deps.held ? { held: deps.held } : {}
  try {
    progress(0, 'taking the files in')
    return await use(await runTask(deps.threads, { task: 'open', path, into, ...held }, signal))
  } finally {
    // A thread that was just ended may still have a write under way.
    await rm(into, { recursive: true, force: true, maxRetries: 5, retryDelay: 50 })
  }
}

async function examine(
  deps: PackagesDeps,
  opened: OpenedPackage,
  { progress = noProgress, signal }: SourceOptions,
): Promise<Examined> {
  const { report } = opened
  const job = report.manifest?.job
  const known = job === undefined ? nothingKnown : await readKnown(deps.database.catalogue, job)
  if (report.findings.length === 0 && isPublished(report, known)) {
    return { opened, result: { findings: [], findingsMore: 0, facts: [] }, unchanged: true }
  }
  const reading = await examineTable(deps, opened, { progress, signal })
  const tell = (share: number): void => progress(0.4 + 0.4 * share, 'checking the layers')
  tell(0)
  const abort = signal ? { signal } : {}
  const checked = await checkOpened(report, { threads: deps.threads, known, progress: tell, ...abort })
  const findings = [...checked.findings, ...reading.findings]
  const result = { ...checked, findings, findingsMore: checked.findingsMore + reading.findingsMore }
  return { opened, result, unchanged: false, ...(reading.table ? { table: reading.table } : {}) }
}

async function examineTable(
  deps: PackagesDeps,
  { report, staged }: OpenedPackage,
  { progress, signal }: { progress: Progress; signal: AbortSignal | undefined },
): Promise<TableReading> {
  const { manifest } = report
  if (!manifest) return { findings: [], findingsMore: 0 }
  return readTable(
    { manifest, staged },
    {
      run: (task) => runTask(deps.threads, { task: 'table', ...task }, signal),
      progress: (share) => progress(0.1 + 0.3 * share, 'indexing the code table'),
    },
  )
}

async function storeTable({ blobs }: PackagesDeps, table: StagedTable): Promise<Digest> {
  await blobs.put({ path: table.csvPath }, table.csvDigest)
  await blobs.put({ path: table.indexPath }, table.indexDigest)
  return table.indexDigest
}

type SoundReport = ManifestReport & { readonly manifest: Manifest; readonly digest: string }

async function commit(
  deps: PackagesDeps,
  { report, examined }: { report: SoundReport; examined: Examined },
  { by, progress = noProgress, signal }: PublishOptions,
): Promise<Published> {
  const { manifest, digest } = report
  const { opened, result } = examined
  const tell = (share: number): void => progress(0.8 + 0.15 * share, 'storing the layers')
  await storeLayers(deps, opened, { progress: tell, signal })
  const codeIndex = examined.table ? await storeTable(deps, examined.table) : null
  const { bytes } = opened.staged
  const atMs = deps.clock.nowMs()
  const newVersions = await insertPackage(deps.database.catalogue, {
    report,
    facts: result.facts,
    codeIndex,
    bytes,
    atMs,
    by,
  })
  await deps.catalogue.refresh({ job: manifest.job })
  progress(1, 'published')
  return { outcome: 'published', job: manifest.job, package: manifest.package, digest, mended: 0, newVersions, bytes }
}

async function publishOpened(deps: PackagesDeps, opened: OpenedPackage, options: PublishOptions): Promise<Published> {
  const examined = await examine(deps, opened, options)
  const { manifest, digest } = opened.report
  if (examined.result.findings.length > 0 || !manifest || digest === undefined) return refuse(manifest, examined.result)
  if (!examined.unchanged) return commit(deps, { report: { ...opened.report, manifest, digest }, examined }, options)
  const { job, package: number } = manifest
  const mended = await mend(deps, { opened, manifest }, options)
  return { outcome: 'unchanged', job, package: number, digest, mended, newVersions: [], bytes: opened.staged.bytes }
}

/** Stores again what of a published package the disk lost: layers, the code table, its index. Returns how many files. */
async function mend(
  deps: PackagesDeps,
  { opened, manifest }: { opened: OpenedPackage; manifest: Manifest },
  { progress = noProgress, signal }: PublishOptions,
): Promise<number> {
  const { job, package: number, code } = manifest
  const layers = manifest.designs.flatMap((design) => design.layers.map((layer) => toDigest(layer.sha256)))
  const table = code.rule === 'table' ? [toDigest(code.sha256)] : []
  const row = await deps.database.catalogue
    .selectFrom('packages')
    .select('codeIndex')
    .where('job', '=', job)
    .where('package', '=', number)
    .executeTakeFirst()
  const index = row?.codeIndex ? [toDigest(row.codeIndex)] : []
  const lost = async (digests: readonly Digest[]): Promise<number> => {
    const conditions = await Promise.all([...new Set(digests)].map((digest) => deps.blobs.condition(digest)))
    return conditions.filter((condition) => condition !== 'sound').length
  }
  const lostLayers = await lost(layers)
  if (lostLayers > 0) {
    await storeLayers(deps, opened, { progress: (share) => progress(share, 'mending the layers'), signal })
  }
  const lostTable = await lost([...table, ...index])
  if (lostTable > 0) {
    const reading = await examineTable(deps, opened, { progress, signal })
    if (reading.table) await storeTable(deps, reading.table)
    await deps.catalogue.refresh({ job })
  }
  return lostLayers + lostTable
}

/** Opens publishing and checking over a data directory's parts. Publications of one job wait for one another. */
export function openPackages(deps: PackagesDeps): Packages {
  const locks = createLocks()
  return {
    check: (options) =>
      withOpened(deps, options, async (opened) => {
        const { result, unchanged } = await examine(deps, opened, options)
        const { manifest } = opened.report
        const named = manifest ? { job: manifest.job, package: manifest.package, title: manifest.title } : {}
        return { ...result, ...named, bytes: opened.staged.bytes, files: opened.staged.files.length, unchanged }
      }),
    async publish(options) {
      requireName(options.by)
      return withOpened(deps, options, (opened) => {
        const job = opened.report.manifest?.job
        const run = () => publishOpened(deps, opened, options)
        return job === undefined ? run() : locks.hold(job, run)
      })
    },
  }
}
