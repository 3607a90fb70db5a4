// The package check as a whole: pure work over a staged package, every finding at once. Also the one door for worker threads.
import type { BuildOutcome } from '../codes/index.ts'
import { assert } from '../kernel/assert.ts'
import { limits } from '../kernel/limits.ts'
import type { Finding } from '../kernel/problem.ts'
import { indexTable, type TableTask } from './code-table.ts'
import { type DigestedFile, digestFiles } from './file-digests.ts'
import { takeIn } from './intake.ts'
import { checkKnown, type KnownJob, nothingKnown } from './known.ts'
import { checkLayerFile, type LayerFile, type LayerFileReport } from './layer-check.ts'
import type { LayerFacts } from './layer-facts.ts'
import { type LayerSum, type SumTask, sumLayer } from './layer-sums.ts'
import { type ListedFile, readListedFiles } from './listed-files.ts'
import type { Manifest } from './manifest.ts'
import { checkManifest, type ManifestReport } from './manifest-check.ts'
import { drawPicture, type PictureTask } from './preview-picture.ts'
import { drawTile, type Tile, type TileTask } from './preview-tile.ts'
import type { IntakeLimits, StagedPackage } from './staging.ts'

export interface DesignFacts {
  readonly design: string
  readonly version: number
  readonly layers: readonly LayerFacts[]
  /** Sum over the layers, mL, each laid once; shrinkage 0. */
  readonly varnishMl: number
}

export interface CheckResult {
  readonly findings: readonly Finding[]
  /** Findings beyond the listed ones. */
  readonly findingsMore: number
  /** By design, in the manifest's order; layers with unsound files are left out. */
  readonly facts: readonly DesignFacts[]
}

/** Work that belongs in a thread. */
export type PackageTask =
  | { readonly task: 'open'; readonly path: string; readonly into: string; readonly held?: IntakeLimits }
  | { readonly task: 'layers'; readonly files: readonly LayerFile[] }
  | { readonly task: 'digests'; readonly paths: readonly string[] }
  | { readonly task: 'listed'; readonly path: string }
  | ({ readonly task: 'table' } & TableTask)
  | ({ readonly task: 'tile' } & TileTask)
  | ({ readonly task: 'picture' } & PictureTask)
  | ({ readonly task: 'sum' } & SumTask)

export interface OpenedPackage {
  readonly staged: StagedPackage
  readonly report: ManifestReport
}

export interface PackageResults {
  readonly open: OpenedPackage
  readonly layers: readonly LayerFileReport[]
  readonly digests: readonly (DigestedFile | undefined)[]
  readonly listed: readonly ListedFile[] | undefined
  readonly table: BuildOutcome
  readonly tile: Tile
  readonly picture: Uint8Array
  readonly sum: LayerSum
}

/** Where tasks run: a pool of threads, or this one. */
export interface PackageThreads {
  run(task: unknown, options?: { readonly signal?: AbortSignal }): Promise<unknown>
}

async function openPackage(path: string, into: string, held: IntakeLimits | undefined): Promise<OpenedPackage> {
  const staged = await takeIn({ path }, into, held)
  return { staged, report: checkManifest(staged) }
}

async function checkLayerFiles(files: readonly LayerFile[]): Promise<readonly LayerFileReport[]> {
  const reports: LayerFileReport[] = []
  for (const file of files) reports.push(await checkLayerFile(file))
  return reports
}

/** Does one task; the body of the worker. */
export async function doPackageTask(task: PackageTask): Promise<PackageResults[PackageTask['task']]> {
  switch (task.task) {
    case 'open':
      return openPackage(task.path, task.into, task.held)
    case 'layers':
      return checkLayerFiles(task.files)
    case 'digests':
      return digestFiles(task.paths)
    case 'listed':
      return readListedFiles(task.path)
    case 'table':
      return indexTable(task)
    case 'tile':
      return drawTile(task)
    case 'picture':
      return drawPicture(task)
    case 'sum':
      return sumLayer(task)
  }
}

/** Runs tasks in this thread; for tests and small work. */
export const inlineThreads: PackageThreads = { run: (task) => doPackageTask(task as PackageTask) }

/** `doPackageTask` in a thread, typed. */
export function runTask<T extends PackageTask>(
  threads: PackageThreads,
  task: T,
  signal?: AbortSignal,
): Promise<PackageResults[T['task']]> {
  return threads.run(task, signal ? { signal } : {}) as Promise<PackageResults[T['task']]>
}

function designFacts(manifest: Manifest | undefined, byPointer: ReadonlyMap<string, LayerFacts>): DesignFacts[] {
  return (manifest?.designs ?? []).map(({ design, version, layers }, i) => {
    const facts = layers.flatMap((_, j) => byPointer.get(`/designs/${i}/layers/${j}`) ?? [])
    return { design, version, layers: facts, varnishMl: facts.reduce((sum, layer) => sum + (layer.varnishMl ?? 0), 0) }
  })
}

// Enough files a task that a thread is worth its message, few enough that progress shows.
const filesPerTask = 8

async function* layerReports(
  files: readonly LayerFile[],
  { threads, signal }: { threads: PackageThreads; signal: AbortSignal | undefined },
): AsyncGenerator<readonly LayerFileReport[]> {
  const starts = Array.from({ length: Math.ceil(files.length / filesPerTask) }, (_, i) => i * filesPerTask)
  const chunk = (start: number) => {
    const result = runTask(threads, { task: 'layers', files: files.slice(start, start + filesPerTask) }, signal)
    // One that fails before its turn is heard of in its turn.
    result.catch(() => undefined)
    return result
  }
  // A few tasks under way keep all threads busy; results are taken in order.
  const underWay: ReturnType<typeof chunk>[] = []
  try {
    for (const start of starts) {
      underWay.push(chunk(start))
      if (underWay.length >= 8) yield await (underWay.shift() as ReturnType<typeof chunk>)
    }
    while (underWay.length > 0) yield await (underWay.shift() as ReturnType<typeof chunk>)
  } finally {
    // After a failure the rest still runs, on files that must stay until it is through.
    await Promise.allSettled(underWay)
  }
}

export interface CheckOptions {
  readonly threads: PackageThreads
  readonly known?: KnownJob
  readonly signal?: AbortSignal
  /** Share of the layer files that are checked, 0 to 1. */
  readonly progress?: (share: number) => void
}

/** Checks an opened package to the end: what is published already, and every picture. */
export async function checkOpened(
  report: ManifestReport,
  { threads, known = nothingKnown, signal, progress }: CheckOptions,
): Promise<CheckResult> {
  const findings: Finding[] = [...report.findings, ...checkKnown(report, known)]
  const byPointer = new Map<string, LayerFacts>()
  let done = 0
  for await (const reports of layerReports(report.layerFiles, { threads, signal })) {
    for (const { findings: more, facts } of reports) {
      findings.push(...more)
      for (const [pointer, one] of Object.entries(facts)) byPointer.set(pointer, one)
    }
    done += reports.length
    assert(done <= report.layerFiles.length, 'each layer file is checked once')
    progress?.(done / report.layerFiles.length)
  }
  return {
    findings: findings.slice(0, limits.findingsMax),
    findingsMore: Math.max(0, findings.length - limits.findingsMax),
    facts: designFacts(report.manifest, byPointer),
  }
}
