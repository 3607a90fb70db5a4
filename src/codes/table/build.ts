// From a code table to its index: an immutable file, the same for the same rows in whatever order, column order, quoting or encoding
// they come. Meant for a worker thread: it reads, hashes and writes in long steps.
//
// Memory: rows are spilled to disk by hash and then indexed part by part, so beside the pairs of design and print version nothing grows
// with the table. `memoryBytesMax` bounds the buffers of a build; the process needs some 100 MB more.
import { createHash } from 'node:crypto'
import { closeSync, fsyncSync, openSync, readSync, writeSync } from 'node:fs'
import { type FileHandle, mkdtemp, open, rename, rm } from 'node:fs/promises'
import { basename, dirname, join } from 'node:path'
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { assert } from '../../kernel/assert.ts'
import { type Digest, toDigest } from '../../kernel/bytes.ts'
import type { Finding } from '../../kernel/problem.ts'
import { syncFolder, whereDiskFills } from '../../storage/index.ts'
import { openArenaWriter } from './arena-writer.ts'
import { type BuildPlan, memoryBytesMaxDefault, memoryBytesMaxLeast, partsMax, planBuild } from './build-plan.ts'
import { hashKeyOf, hashKeysMax } from './code-hash.ts'
import { openTableRows } from './csv-rows.ts'
import { type DesignCount, designCounts, encodeDictionary, rankPairs } from './dictionary.ts'
import {
  type Carries,
  chunkBitsDefault,
  codesPerBucket,
  encodeHeader,
  type IndexHeader,
  sectionsOf,
} from './index-format.ts'
import { type DesignPair, openPairTable } from './pair-table.ts'
import { openPartTable } from './part-table.ts'
import { openSpill, type Spill } from './spill.ts'
import { spillBatch } from './spill-rows.ts'
import { openFindings, type TableFindings } from './table-findings.ts'

export interface BuildProgress {
  /** `reading` counts bytes of the table, `indexing` parts of it, `sealing` bytes of the index. */
  readonly step: 'reading' | 'indexing' | 'sealing'
  readonly done: number
  readonly total: number
}

export interface BuildOptions {
  readonly csvPath: string
  /** Where the index goes, whole or not at all. */
  readonly outPath: string
  /** A folder on the same file system; a folder of the build's own is made there, and removed at its end. */
  readonly temporaryFolder: string
  /** The table's name in findings; default: that of its file. */
  readonly file?: string
  /** Of the buffers; default 256 MiB, at least 4 MiB. */
  readonly memoryBytesMax?: number
  readonly progress?: (progress: BuildProgress) => void
  readonly signal?: AbortSignal
  /** For tests: chunks of the index of 2^chunkBits words. */
  readonly chunkBits?: number
}

export type BuildOutcome = BuiltIndex | RefusedTable

export interface BuiltIndex {
  readonly built: true
  /** SHA-256 of the file. */
  readonly digest: Digest
  readonly bytes: number
  readonly rows: number
  /** Different codes: fewer than rows where codes stand for several cells. */
  readonly codes: number
  readonly carries: Carries
  readonly designs: readonly DesignCount[]
  /** Every print version that some design has. */
  readonly prints: readonly string[]
}

export interface RefusedTable {
  readonly built: false
  /** The first 100 of each kind, and one that counts the rest of the kind. */
  readonly findings: readonly Finding[]
  readonly findingsTotal: number
}

/**
 * Builds the index of a table. With findings no file is made. Duplicates are found exactly: the same code twice, or the same code and
 * cell where the table has cells. An aborted or failed build leaves nothing; a killed one may leave its folder in `temporaryFolder`.
 * Problems: `data-full`, `package-too-large` (over 16 GiB of codes and values).
 */
export async function buildCodeIndex(options: BuildOptions): Promise<BuildOutcome> {
  const { csvPath, temporaryFolder, memoryBytesMax = memoryBytesMaxDefault } = options
  assert(memoryBytesMax >= memoryBytesMaxLeast, 'a build has at least 4 MiB')
  return whereDiskFills(async () => {
    const handle = await open(csvPath, 'r')
    try {
      const scratch = await mkdtemp(join(temporaryFolder, 'code-index-'))
      try {
        return await buildInScratch({ ...options, handle, scratch, memoryBytesMax })
      } finally {
        await rm(scratch, { recursive: true, force: true })
      }
    } finally {
      await handle.close()
    }
  })
}

interface Scratch extends BuildOptions {
  readonly handle: FileHandle
  readonly scratch: string
  readonly memoryBytesMax: number
}

async function buildInScratch(options: Scratch): Promise<BuildOutcome> {
  const { size } = await options.handle.stat()
  const plan = planBuild({ tableBytes: size, memoryBytesMax: options.memoryBytesMax })
  for (let attempt = 0; attempt < hashKeysMax; attempt++) {
    const outcome = await attemptBuild({ ...options, size, plan, attempt })
    if (outcome) return outcome
  }
  return refuseFlood(options)
}

interface Attempt extends Scratch {
  readonly size: number
  readonly plan: BuildPlan
  readonly attempt: number
}

interface SpilledTable {
  readonly spill: Spill
  readonly rows: number
  readonly carries: Carries
  readonly pairs: readonly DesignPair[]
}

/** One build with one key of the hash; undefined where too many codes fall together under it. */
async function attemptBuild(attempt: Attempt): Promise<BuildOutcome | undefined> {
  const findings = openFindings(attempt.file ?? basename(attempt.csvPath))
  const { parts, bufferWords } = attempt.plan
  const spill = openSpill(join(attempt.scratch, `spill-${attempt.attempt}`), { parts, bufferWords })
  try {
    const table = await spillTable(attempt, spill, findings)
    if (table === undefined) return refused(findings)
    const path = join(attempt.scratch, `index-${attempt.attempt}`)
    const header = await writeIndex({ attempt, table, findings, path })
    if (header === undefined) return undefined
    if (findings.count() > 0) return refused(findings)
    return await seal({ attempt, table, header, path })
  } finally {
    spill.close()
  }
}

const refused = (findings: TableFindings): RefusedTable => ({
  built: false,
  findings: findings.list(),
  findingsTotal: findings.count(),
})

function refuseFlood({ file, csvPath }: BuildOptions): RefusedTable {
  const message = 'the codes fall together in the index whatever its hash: they were made to'
  return {
    built: false,
    findings: [{ code: 'table-code', file: file ?? basename(csvPath), message }],
    findingsTotal: 1,
  }
}

async function spillTable(attempt: Attempt, spill: Spill, findings: TableFindings): Promise<SpilledTable | undefined> {
  const { handle, size, progress, signal } = attempt
  const onBytes = (done: number): void => progress?.({ step: 'reading', done, total: size })
  const table = await openTableRows({ handle, findings, onBytes, signal })
  if (table === undefined) return undefined
  const { places } = table
  const pairs = openPairTable()
  const key = hashKeyOf(attempt.attempt)
  let rows = 0
  for await (const scan of table.batches()) rows += spillBatch(scan, { spill, key, places, pairs, findings })
  const carries = { print: places.print >= 0, serial: places.serial >= 0, cell: places.cell >= 0 }
  return { spill, rows, carries, pairs: pairs.pairs() }
}

interface Writing {
  readonly attempt: Attempt
  readonly table: SpilledTable
  readonly findings: TableFindings
  readonly path: string
}

/** Brings the parts into order and, while there are no findings, writes them; undefined where the hash is flooded. */
async function writeIndex({ attempt, table, findings, path }: Writing): Promise<IndexHeader | undefined> {
  const { spill, rows, carries, pairs } = table
  const { plan, chunkBits = chunkBitsDefault, progress, signal } = attempt
  const buckets = Math.ceil(rows / codesPerBucket / partsMax) * partsMax
  const { sorted, ranks } = rankPairs(pairs)
  const part = openPartTable(findings, { wordsMax: plan.partWords, hasCells: carries.cell })
  const file = openSync(path, 'wx')
  try {
    const arena = openArenaWriter({ file, buckets, chunkBits, ranks, hasCells: carries.cell })
    const count = buckets / spill.parts
    for (let i = 0; i < spill.parts; i++) {
      const range = { buckets, first: i * count, count }
      if (!part.load(spill.pieces(i), range)) return undefined
      if (findings.count() === 0 && !arena.write(part, range)) return undefined
      progress?.({ step: 'indexing', done: i + 1, total: spill.parts })
      await turnOfTheLoop()
      signal?.throwIfAborted()
    }
    arena.finish()
    const dictionary = encodeDictionary(sorted)
    const { codes, arenaWords } = arena
    const header = {
      rows,
      codes,
      buckets,
      attempt: attempt.attempt,
      carries,
      chunkBits,
      arenaWords,
      dictionaryBytes: dictionary.length,
    }
    writeBytes(file, dictionary, sectionsOf(header).dictionary)
    writeBytes(file, encodeHeader(header), 0)
    return header
  } finally {
    closeSync(file)
  }
}

function writeBytes(file: number, bytes: Buffer, position: number): void {
  for (let done = 0; done < bytes.length; ) {
    done += writeSync(file, bytes, done, bytes.length - done, position + done)
  }
}

const sealChunkBytes = 4 * 1024 * 1024

/** Hashes what was written, adds the hash, and gives the file its name. */
async function seal(sealing: {
  attempt: Attempt
  table: SpilledTable
  header: IndexHeader
  path: string
}): Promise<BuiltIndex> {
  const { attempt, table, header, path } = sealing
  const { trailer, fileBytes } = sectionsOf(header)
  const hash = createHash('sha256')
  const file = openSync(path, 'r+')
  try {
    const chunk = Buffer.allocUnsafe(sealChunkBytes)
    for (let done = 0; done < trailer; ) {
      const count = readSync(file, chunk, 0, Math.min(chunk.length, trailer - done), done)
      assert(count > 0, 'the index has the length that its header states')
      hash.update(chunk.subarray(0, count))
      done += count
      attempt.progress?.({ step: 'sealing', done, total: trailer })
      await turnOfTheLoop()
      attempt.signal?.throwIfAborted()
    }
    const sum = hash.copy().digest()
    writeBytes(file, sum, trailer)
    hash.update(sum)
    fsyncSync(file)
  } finally {
    closeSync(file)
  }
  await rename(path, attempt.outPath)
  await syncFolder(dirname(attempt.outPath))
  const designs = designCounts(rankPairs(table.pairs).sorted)
  return {
    built: true,
    digest: toDigest(hash.digest('hex')),
    bytes: fileBytes,
    rows: header.rows,
    codes: header.codes,
    carries: header.carries,
    designs,
    prints: [...new Set(designs.flatMap((design) => design.prints.map(({ print }) => print)))].toSorted(),
  }
}
