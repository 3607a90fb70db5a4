// The roll record in its three forms and the tracing of a code, for a run of 100,000 labels. They are made in a process of their own,
// so that their memory can be told from everything else's.
import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { type Bench, benchProgram } from './bench.ts'
import { cellCount } from './labels.ts'
import type { RecordFigure } from './record-program.ts'
import { type Row, timeRow } from './rows.ts'

const run = promisify(execFile)

export const recordFrames = (quick: boolean): number => (quick ? 2_000 : 25_000)

export const benchRecords: Bench = async ({ quick, tell, longRun }) => {
  const { folder, runId, frames } = await longRun(recordFrames(quick))
  const labels = `${(frames * cellCount).toLocaleString('en-GB')} labels`
  tell(`records of ${labels}`)
  const { stdout } = await run(process.execPath, [benchProgram('record-program'), folder, runId, quick ? '1' : '2'])
  const records = JSON.parse(stdout) as readonly RecordFigure[]
  const seconds = (ms: readonly number[]): number[] => ms.map((one) => one / 1000)
  return records.map(({ what, ms, decodingMs, heldMb, peakMb, megabytes }): Row => {
    const memory =
      peakMb === undefined
        ? 'memory is told on Linux only'
        : `the process held ${heldMb.toFixed(0)} MB with the run open and at most ${peakMb.toFixed(0)} MB while this was made`
    return timeRow({
      what: `${what}, ${labels}`,
      unit: 's',
      figures: seconds(ms),
      against: decodingMs.length > 0 ? [{ what: 'decoding all entries', figures: seconds(decodingMs) }] : [],
      note: `${megabytes.toFixed(2)} MB; ${memory}`,
    })
  })
}
