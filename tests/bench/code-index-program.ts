// Builds a code index, or looks codes up in one, and prints figures as JSON. In a process of its own, so that its memory can be told.
// Arguments: build, table, index, temporary folder, or: look-up, index, rows, rounds, `map` where a Map is to be compared, or: serials,
// how many.
import { buildCodeIndex } from '../../src/codes/table/build.ts'
import type { CodeIndex } from '../../src/codes/table/code-index.ts'
import { openCodeIndex } from '../../src/codes/table/open.ts'
import { openSerialSet, restoreSerials, type SerialSet } from '../../src/codes/table/serial-set.ts'
import { freshCode, freshMiss } from './code-tables.ts'
import { interleave, median, timed } from './rounds.ts'

export interface BuildFigures {
  readonly ms: number
  /** Until the step was over, from the start. */
  readonly stepMs: Readonly<Record<string, number>>
  readonly bytes: number
  readonly peakMb: number
  /** Of the process before the build. */
  readonly heldMb: number
}

export interface LookUpFigures {
  readonly loadMs: readonly number[]
  /** ns each, by side and round. */
  readonly ns: Readonly<Record<Side, readonly number[]>>
}

export type Side = 'indexHit' | 'indexMiss' | 'mapHit' | 'mapMiss' | 'probe'

const mb = (bytes: number): number => bytes / 1e6

async function build([csvPath = '', outPath = '', temporaryFolder = '']: readonly string[]): Promise<BuildFigures> {
  const heldMb = mb(process.memoryUsage.rss())
  const stepMs: Record<string, number> = {}
  const startMs = performance.now()
  const outcome = await buildCodeIndex({
    csvPath,
    outPath,
    temporaryFolder,
    progress: ({ step }) => {
      stepMs[step] = performance.now() - startMs
    },
  })
  if (!outcome.built) throw new Error(`the table was refused: ${JSON.stringify(outcome.findings[0])}`)
  const ms = performance.now() - startMs
  return { ms, stepMs, bytes: outcome.bytes, peakMb: mb(process.resourceUsage().maxRSS * 1024), heldMb }
}

const perBatch = 2_000
/** Keeps what a loop works out, so that the compiler can't leave it out. */
let sink = 0

let state = 12_345
function randomRow(rows: number): number {
  state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
  return Math.floor((state / 2 ** 32) * rows)
}

/** ns a lookup, over batches of strings that nobody has seen before. */
async function each(
  make: () => string,
  batches: number,
  lookUp: (text: string) => unknown,
  wanted: boolean,
): Promise<number> {
  let ms = 0
  let found = 0
  for (let batch = 0; batch < batches; batch++) {
    const texts = Array.from({ length: perBatch }, make)
    ms += await timed(() => {
      for (const text of texts) if (lookUp(text) !== undefined) found++
    })
  }
  if (found !== (wanted ? batches * perBatch : 0)) throw new Error(`${found} of ${batches * perBatch} codes were found`)
  return (1e6 * ms) / (batches * perBatch)
}

/** ns a read of a random word, whose place hangs on the word read before. */
async function probe(words: Uint32Array, count: number): Promise<number> {
  let at = 1
  const ms = await timed(() => {
    for (let i = 0; i < count; i++) {
      state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
      at = (words[Math.floor((state / 2 ** 32) * words.length)] as number) & 1
      state ^= at
    }
  })
  sink += at
  return (1e6 * ms) / count
}

function mapOf(rows: number): Map<string, number> {
  const map = new Map<string, number>()
  for (let row = 0; row < rows; row++) map.set(freshCode(row), row)
  return map
}

async function load(path: string, times: number): Promise<{ index: CodeIndex; loadMs: number[] }> {
  const loadMs: number[] = []
  for (let i = 0; ; i++) {
    const startMs = performance.now()
    const index = await openCodeIndex(path)
    loadMs.push(performance.now() - startMs)
    if (i === times) return { index, loadMs: loadMs.slice(1) }
    index.close()
  }
}

async function lookUp([
  path = '',
  rowCount = '',
  rounds = '1',
  withMap = '',
]: readonly string[]): Promise<LookUpFigures> {
  const rows = Number(rowCount)
  const { index, loadMs } = await load(path, 3)
  const map = withMap === 'map' ? mapOf(rows) : undefined
  const [chunk] = index.share().chunks
  const words = new Uint32Array(chunk ?? new SharedArrayBuffer(4))
  const batches = 40
  const hit = (): string => freshCode(randomRow(rows))
  const miss = (): string => freshMiss(randomRow(rows))
  const ns = await interleave(
    { rounds: Number(rounds), warmUp: 2 },
    {
      indexHit: () => each(hit, batches, (text) => index.find(text), true),
      mapHit: () => (map ? each(hit, batches, (text) => map.get(text), true) : Number.NaN),
      indexMiss: () => each(miss, batches, (text) => index.find(text), false),
      mapMiss: () => (map ? each(miss, batches, (text) => map.get(text), false) : Number.NaN),
      probe: () => probe(words, batches * perBatch),
    },
  )
  if (Number.isNaN(sink)) throw new Error('a word is a number')
  return { loadMs, ns }
}

export interface SerialFigures {
  readonly addNs: number
  readonly worstAddMs: number
  readonly getNs: number
  readonly mapAddNs: number
  readonly mapGetNs: number
  /** Bytes a serial. */
  readonly held: number
  readonly mapHeld: number
  readonly snapshot: number
  readonly snapshotMs: number
  readonly restoreMs: number
}

/** Serials of twelve digits that are no row of numbers. */
const serialAt = (i: number): string => String((i * 7_919_003) % 999_999_999_989).padStart(12, '0')

function addAll(count: number, add: (serial: string, tag: number) => void): { ns: number; worstMs: number } {
  let ms = 0
  let worstMs = 0
  for (let from = 0; from < count; from += perBatch) {
    const serials = Array.from({ length: Math.min(perBatch, count - from) }, (_, i) => serialAt(from + i))
    for (const [i, serial] of serials.entries()) {
      const startMs = performance.now()
      add(serial, from + i)
      const ownMs = performance.now() - startMs
      ms += ownMs
      worstMs = Math.max(worstMs, ownMs)
    }
  }
  return { ns: (1e6 * ms) / count, worstMs }
}

async function serials([countText = '']: readonly string[]): Promise<SerialFigures> {
  const count = Number(countText)
  const set: SerialSet = openSerialSet()
  const added = addAll(count, (serial, tag) => set.add(serial, tag))
  const heldBefore = process.memoryUsage().heapUsed
  const map = new Map<string, number>()
  const mapAdded = addAll(count, (serial, tag) => map.set(serial, tag))
  const mapHeld = (process.memoryUsage().heapUsed - heldBefore) / count
  const get = (lookUp: (text: string) => unknown) => each(() => serialAt(randomRow(count)), 100, lookUp, true)
  const { ours, theirs } = await interleave(
    { rounds: 3, warmUp: 1 },
    { ours: () => get((serial) => set.get(serial)), theirs: () => get((serial) => map.get(serial)) },
  )
  const pieces: Uint8Array[] = []
  const snapshotMs = await timed(() => pieces.push(...set.snapshot()))
  const bytes = Buffer.concat(pieces)
  const restoreMs = await timed(() => restoreSerials(bytes))
  return {
    addNs: added.ns,
    worstAddMs: added.worstMs,
    mapAddNs: mapAdded.ns,
    getNs: median(ours),
    mapGetNs: median(theirs),
    held: set.bytes / count,
    mapHeld,
    snapshot: bytes.length / count,
    snapshotMs,
    restoreMs,
  }
}

const programs = { build, 'look-up': lookUp, serials }
const [what, ...rest] = process.argv.slice(2)
const chosen = programs[what as keyof typeof programs]
process.stdout.write(JSON.stringify(await chosen(rest)))
