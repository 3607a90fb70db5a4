// The code table of a package: checked and built into its code index in a thread, in one go.
import { dirname, join } from 'node:path'
import { type BuildOutcome, type BuildProgress, buildCodeIndex } from '../codes/index.ts'
import type { Digest } from '../kernel/bytes.ts'
import type { Finding } from '../kernel/problem.ts'
import type { Manifest } from './manifest.ts'
import type { StagedPackage } from './staging.ts'

/** Builds the index of a table. How far it is stands in `progress` as ppm, since a thread reports nothing else before its end. */
export interface TableTask {
  readonly csvPath: string
  /** The table's name in findings. */
  readonly file: string
  readonly outPath: string
  readonly temporaryFolder: string
  readonly progress: SharedArrayBuffer
}

// Shares of the whole, as measured on ten million rows.
const shares: Readonly<Record<BuildProgress['step'], { readonly from: number; readonly to: number }>> = {
  reading: { from: 0, to: 0.6 },
  indexing: { from: 0.6, to: 0.95 },
  sealing: { from: 0.95, to: 1 },
}

/** The thread's side. */
export function indexTable({ csvPath, file, outPath, temporaryFolder, progress }: TableTask): Promise<BuildOutcome> {
  const cell = new Int32Array(progress)
  return buildCodeIndex({
    csvPath,
    file,
    outPath,
    temporaryFolder,
    progress({ step, done, total }) {
      const { from, to } = shares[step]
      Atomics.store(cell, 0, Math.round(1e6 * (from + ((to - from) * done) / Math.max(1, total))))
    },
  })
}

/** A table that was built: where its index lies, and where its rows came from. */
export interface StagedTable {
  readonly indexPath: string
  readonly indexDigest: Digest
  readonly csvPath: string
  readonly csvDigest: Digest
  readonly rows: number
}

export interface TableReading {
  readonly findings: readonly Finding[]
  readonly findingsMore: number
  readonly table?: StagedTable
}

const lookEveryMs = 200

/** A design without a code can never be laid, so the delivery is not what was meant. */
function designFindings({ designs }: Manifest, built: ReadonlySet<string>): Finding[] {
  return designs.flatMap(({ design }, i): Finding[] => {
    if (built.has(design)) return []
    const message = `no code can name ${design}: the code table has no row of it`
    return [
      { code: 'design-unmatchable', file: 'job.json', pointer: `/designs/${i}/design`, message, measured: design },
    ]
  })
}

/** Checks and indexes the table of a package whose rule is `table`. `run` does the task in a thread. */
export async function readTable(
  { manifest, staged }: { readonly manifest: Manifest; readonly staged: StagedPackage },
  { run, progress }: { run: (task: TableTask) => Promise<BuildOutcome>; progress: (share: number) => void },
): Promise<TableReading> {
  const { code } = manifest
  const source = code.rule === 'table' ? staged.files.find(({ path }) => path === code.file) : undefined
  if (!source) return { findings: [], findingsMore: 0 }
  const temporaryFolder = dirname(source.stored)
  const outPath = join(temporaryFolder, 'code-index')
  const cell = new Int32Array(new SharedArrayBuffer(4))
  const timer = setInterval(() => progress(Atomics.load(cell, 0) / 1e6), lookEveryMs)
  try {
    const task = { csvPath: source.stored, file: source.path, outPath, temporaryFolder, progress: cell.buffer }
    const outcome = await run(task)
    if (!outcome.built) {
      return { findings: outcome.findings, findingsMore: Math.max(0, outcome.findingsTotal - outcome.findings.length) }
    }
    const findings = designFindings(manifest, new Set(outcome.designs.map(({ design }) => design)))
    const table = {
      indexPath: outPath,
      indexDigest: outcome.digest,
      csvPath: source.stored,
      csvDigest: source.digest,
      rows: outcome.rows,
    }
    return { findings, findingsMore: 0, table }
  } finally {
    clearInterval(timer)
  }
}
