// The roll record as PDF of a roll of 300,000 labels, a hundredth of them to be pulled, held against decoding the ledger; and its memory
// against that of a roll of a tenth of the labels.
import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { type Bench, type BenchTools, benchProgram } from './bench.ts'
import { cellCount } from './labels.ts'
import type { PdfFigure } from './record-pdf-program.ts'
import { type Row, timeRow } from './rows.ts'

const run = promisify(execFile)

async function figureOf({ longRun, quick, tell }: BenchTools, frames: number): Promise<PdfFigure> {
  const { folder, runId } = await longRun(frames)
  tell(`PDF of ${frames * cellCount} labels`)
  const { stdout } = await run(process.execPath, [benchProgram('record-pdf-program'), folder, runId, quick ? '1' : '2'])
  return JSON.parse(stdout) as PdfFigure
}

const memoryOf = ({ heldMb, peakMb }: PdfFigure): string =>
  peakMb === undefined
    ? 'memory is told on Linux only'
    : `${heldMb.toFixed(0)} MB held with the run open, at most ${peakMb.toFixed(0)} MB meanwhile`

export const benchRecordPdf: Bench = async (tools) => {
  const frames = tools.quick ? 2_000 : 75_000
  const small = await figureOf(tools, frames / 10)
  const large = await figureOf(tools, frames)
  const seconds = (ms: readonly number[]): number[] => ms.map((one) => one / 1000)
  const above = ({ heldMb, peakMb = heldMb }: PdfFigure): number => peakMb - heldMb
  const labels = (count: number): string => `${(count * cellCount).toLocaleString('en-GB')} labels`
  const rows: readonly Row[] = [
    timeRow({
      what: `record as PDF, ${labels(frames)}`,
      unit: 's',
      figures: seconds(large.ms),
      against: [{ what: 'decoding all entries', figures: seconds(large.decodingMs) }],
      note: `${large.pages} pages, ${large.pdfMb.toFixed(2)} MB; ${memoryOf(large)}`,
    }),
    timeRow({
      what: `memory above the open run while the PDF is made, ${labels(frames)}`,
      unit: 'MB',
      figures: [above(large)],
      against: [{ what: labels(frames / 10), figures: [above(small)] }],
      note: `the smaller one: ${small.pages} pages, ${memoryOf(small)}`,
    }),
  ]
  return rows
}
