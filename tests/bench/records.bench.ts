// The roll record in its three forms and the tracing of a code, for a run of 100,000 labels. Each is made in a process of its own, so
// that its memory can be told from everything else's.
import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { type Bench, benchProgram } from './bench.ts'
import { cellCount } from './labels.ts'
import type { RecordKind, RecordTimes } from './record-program.ts'
import { timeRow } from './rows.ts'

const run = promisify(execFile)

export const recordFrames = (quick: boolean): number => (quick ? 2_000 : 25_000)

const kinds: Readonly<Record<RecordKind, string>> = {
  json: 'report as JSON',
  html: 'report as HTML',
  csv: 'report as CSV',
  trace: 'trace of one code',
}

export const benchRecords: Bench = async ({ quick, tell, longRun }) => {
  const { folder, runId, frames } = await longRun(recordFrames(quick))
  const rows = []
  for (const kind of Object.keys(kinds) as RecordKind[]) {
    tell(kinds[kind])
    const args = [benchProgram('record-program'), folder, runId, kind, quick ? '1' : '3']
    const { stdout } = await run(process.execPath, args)
    const { ms, readingMs, heldMb, peakMb, bytes } = JSON.parse(stdout) as RecordTimes
    rows.push(
      timeRow({
        what: `${kinds[kind]}, ${(frames * cellCount).toLocaleString('en-GB')} labels`,
        unit: 's',
        figures: ms.map((one) => one / 1000),
        against: [{ what: 'decoding all entries', figures: readingMs.map((one) => one / 1000) }],
        note: `${(bytes / 1e6).toFixed(2)} MB; the process held ${heldMb.toFixed(0)} MB with the run open and at most ${peakMb.toFixed(0)} MB while this was made`,
      }),
    )
  }
  return rows
}
