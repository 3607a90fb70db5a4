// Makes the records of a run several times and prints times and memory as JSON. Arguments: data folder, run, rounds.
import { readFileSync, writeFileSync } from 'node:fs'
import { readEntries } from '../../src/ledger/index.ts'
import { reportCsv, reportHtml, reportRun, traceCode } from '../../src/runs/index.ts'
import { labelText } from './labels.ts'
import { openHouse, openRegistry } from './long-run.ts'
import { interleave, timed } from './rounds.ts'

export interface RecordFigure {
  readonly what: string
  /** Of each round. */
  readonly ms: readonly number[]
  /** Of decoding every entry of the run and doing nothing with it, in the same rounds; none beside a trace, which decodes few. */
  readonly decodingMs: readonly number[]
  /** Resident before the first making, and at most during it; only Linux tells. */
  readonly heldMb: number
  readonly peakMb: number | undefined
  /** Size of the record. */
  readonly megabytes: number
}

const [folder = '', runId = '', rounds = '1'] = process.argv.slice(2)
const house = await openHouse(folder)
const registry = openRegistry(house)
const run = await registry.runs.get(runId)
const { database } = house

async function csvLength(): Promise<number> {
  let length = 0
  for await (const chunk of reportCsv(database, run)) length += chunk.length
  return length
}

async function traceLength(): Promise<number> {
  const text = labelText({ frame: run.state.lastFrame - 1, cell: 2 })
  const sightings = await traceCode(database, run, text)
  if (sightings.length !== 1) throw new Error(`${text} was seen ${sightings.length} times`)
  return JSON.stringify(sightings).length
}

/** Each gives the record's length in characters. */
const makers = {
  'report as CSV': csvLength,
  'report as JSON': async () => JSON.stringify(await reportRun(database, run)).length,
  'report as HTML': async () => reportHtml(await reportRun(database, run)).length,
  'trace of one code': traceLength,
}

/** Forgets the peak so far; false where the system can't. */
function resetPeak(): boolean {
  try {
    writeFileSync('/proc/self/clear_refs', '5')
    return true
  } catch {
    return false
  }
}

function peakMb(): number | undefined {
  const [, kilobytes] = /^VmHWM:\s+(\d+) kB/m.exec(readFileSync('/proc/self/status', 'utf8')) ?? []
  return kilobytes === undefined ? undefined : (Number(kilobytes) * 1024) / 1e6
}

async function measure(what: keyof typeof makers): Promise<RecordFigure> {
  let length = 0
  let peak: number | undefined
  const canTell = resetPeak()
  const heldMb = process.memoryUsage.rss() / 1e6
  const make = async (): Promise<number> => {
    const ms = await timed(async () => {
      length = await makers[what]()
    })
    if (canTell) peak ??= peakMb()
    return ms
  }
  const times = { rounds: Number(rounds) }
  const { make: ms, decoding: decodingMs } =
    what === 'trace of one code'
      ? { ...(await interleave(times, { make })), decoding: [] }
      : await interleave(times, { make, decoding: () => timed(decodeAll) })
  return { what, ms, decodingMs, heldMb, peakMb: peak, megabytes: length / 1e6 }
}

async function decodeAll(): Promise<void> {
  let last = -1
  for await (const entry of readEntries(database, { runId })) last = entry.index
  if (last !== run.state.nextIndex - 1) throw new Error(`${last + 1} of ${run.state.nextIndex} entries were decoded`)
}

const records: RecordFigure[] = []
for (const what of Object.keys(makers) as (keyof typeof makers)[]) records.push(await measure(what))
await registry.close()
await house.close()
process.stdout.write(JSON.stringify(records))
