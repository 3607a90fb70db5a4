// Makes the PDF record of a run several times and prints times and memory as JSON. Arguments: data folder, run, rounds. A process of its
// own, so that its memory can be told from everything else's.
import { readFileSync, writeFileSync } from 'node:fs'
import { readEntries } from '../../src/ledger/index.ts'
import { openRollRecord, recordPdf } from '../../src/runs/index.ts'
import { openHouse, openRegistry } from './long-run.ts'
import { interleave, timed } from './rounds.ts'

export interface PdfFigure {
  readonly ms: readonly number[]
  /** Of decoding every entry of the run and doing nothing with it, in the same rounds. */
  readonly decodingMs: readonly number[]
  /** Resident with the run open, and at most while the record was made; only Linux tells. */
  readonly heldMb: number
  readonly peakMb: number | undefined
  readonly pdfMb: number
  readonly pages: number
}

const [folder = '', runId = '', rounds = '1'] = process.argv.slice(2)
const house = await openHouse(folder)
const registry = openRegistry(house)
const run = await registry.runs.get(runId)

let bytes = 0
let pages = 0

async function make(): Promise<void> {
  bytes = 0
  pages = 0
  for await (const chunk of recordPdf(await openRollRecord(house, run))) {
    bytes += chunk.length
    pages += Buffer.from(chunk).toString('latin1').split('/Type /Page\n').length - 1
  }
}

async function decodeAll(): Promise<void> {
  let last = -1
  for await (const entry of readEntries(house.database, { runId })) last = entry.index
  if (last !== run.state.nextIndex - 1) throw new Error(`${last + 1} of ${run.state.nextIndex} entries were decoded`)
}

function peakMb(): number | undefined {
  const [, kilobytes] = /^VmHWM:\s+(\d+) kB/m.exec(readFileSync('/proc/self/status', 'utf8')) ?? []
  return kilobytes === undefined ? undefined : (Number(kilobytes) * 1024) / 1e6
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

const canTell = resetPeak()
const heldMb = process.memoryUsage.rss() / 1e6
let peak: number | undefined
const timedMake = async (): Promise<number> => {
  const ms = await timed(make)
  if (canTell) peak ??= peakMb()
  return ms
}
const times = await interleave({ rounds: Number(rounds) }, { make: timedMake, decoding: () => timed(decodeAll) })
const figure: PdfFigure = {
  ms: times.make,
  decodingMs: times.decoding,
  heldMb,
  peakMb: peak,
  pdfMb: bytes / 1e6,
  pages,
}
await registry.close()
await house.close()
process.stdout.write(JSON.stringify(figure))
