// Makes one record of a run several times and prints times and memory as JSON. Arguments: data folder, run, kind, rounds.
import { readFileSync, writeFileSync } from 'node:fs'
import { readEntries } from '../../src/ledger/index.ts'
import { type Run, reportCsv, reportHtml, reportRun, traceCode } from '../../src/runs/index.ts'
import type { Database } from '../../src/storage/index.ts'
import { labelText } from './labels.ts'
import { openHouse, openRegistry } from './long-run.ts'
import { interleave, timed } from './rounds.ts'

export type RecordKind = 'json' | 'html' | 'csv' | 'trace'

export interface RecordTimes {
  readonly ms: readonly number[]
  /** Of decoding every entry of the run, in the same rounds. */
  readonly readingMs: readonly number[]
  readonly heldMb: number
  readonly peakMb: number
  /** Size of the record. */
  readonly bytes: number
}

/** The record's size in characters. */
async function make(kind: RecordKind, database: Database, run: Run): Promise<number> {
  if (kind === 'json') return JSON.stringify(await reportRun(database, run)).length
  if (kind === 'html') return reportHtml(await reportRun(database, run)).length
  if (kind === 'trace') {
    const text = labelText({ frame: run.state.lastFrame - 1, cell: 2 })
    const sightings = await traceCode(database, run, text)
    if (sightings.length !== 1) throw new Error(`${text} was seen ${sightings.length} times`)
    return JSON.stringify(sightings).length
  }
  let size = 0
  for await (const chunk of reportCsv(database, run)) size += chunk.length
  return size
}

/** Forgets the peak so far; only Linux can. */
function resetPeak(): void {
  globalThis.gc?.()
  try {
    writeFileSync('/proc/self/clear_refs', '5')
  } catch {
    // The peak then includes the opening of the run.
  }
}

function peakNowMb(): number {
  try {
    const [, kilobytes] = /^VmHWM:\s+(\d+) kB/m.exec(readFileSync('/proc/self/status', 'utf8')) ?? []
    if (kilobytes !== undefined) return (Number(kilobytes) * 1024) / 1e6
  } catch {
    // Not Linux.
  }
  return (process.resourceUsage().maxRSS * 1024) / 1e6
}

const [folder = '', runId = '', kind = 'json', rounds = '1'] = process.argv.slice(2)
const house = await openHouse(folder)
const registry = openRegistry(house)
const run = await registry.runs.get(runId)
resetPeak()
const heldMb = process.memoryUsage.rss() / 1e6
let last = -1
let bytes = await make(kind as RecordKind, house.database, run)
const peakMb = peakNowMb()
const figures = await interleave(
  { rounds: Number(rounds) },
  {
    make: () =>
      timed(async () => {
        bytes = await make(kind as RecordKind, house.database, run)
      }),
    reading: () =>
      timed(async () => {
        for await (const entry of readEntries(house.database, { runId })) last = entry.index
      }),
  },
)
if (last !== run.state.nextIndex - 1) throw new Error(`${last + 1} of ${run.state.nextIndex} entries were decoded`)
await registry.close()
await house.close()
const times: RecordTimes = { ms: figures.make, readingMs: figures.reading, heldMb, peakMb, bytes }
process.stdout.write(JSON.stringify(times))
