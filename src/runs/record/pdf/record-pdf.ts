// The roll record as PDF (A4), page by page as it is drawn: the same facts as JSON and HTML, for a file of paper.
import { setImmediate as nextTurn } from 'node:timers/promises'
import { type Consumption, consumptionOf, type ForecastSums } from '../consumption.ts'
import { earlierPasses } from '../earlier-passes.ts'
import { releasesOf } from '../releases.ts'
import type { RollRecord } from '../roll-record.ts'
import {
  drawFlags,
  drawMaterial,
  drawPeople,
  drawRecalls,
  drawReleases,
  drawReports,
  drawStops,
  drawVersions,
} from './evidence.ts'
import { drawOpening, regulatedNotice } from './opening.ts'
import {
  drawConsumption,
  drawEarlierPasses,
  drawFinished,
  drawMakeGood,
  drawPullList,
  drawReconciliation,
} from './rolls.ts'
import { Sheet } from './sheet.ts'
import { drawStrip } from './strip.ts'

const cautions = [
  'Rollcall is no safety function: it interlocks, stops and restarts nothing. A stop is a request to a controller; emergency stops, guards and interlocks work without it.',
  'The record says what was answered and what the controller reported. Whether a layer lies well on a label is for eyes and instruments.',
  'A label that was not reported counts as laid where it was answered lay.',
]

function drawProof(sheet: Sheet, { gathered: { report } }: RollRecord): void {
  sheet.heading('How to verify', 90)
  sheet.paragraph(
    `This record was worked out from a ledger of ${report.treeSize} entries under the Merkle root (RFC 9162, SHA-256)`,
    { afterPt: 2 },
  )
  sheet.paragraph(report.root || 'none: nothing is committed', { style: { face: 'mono', sizePt: 8 }, indentPt: 12 })
  const sealed = report.state === 'sealed'
  sheet.paragraph(
    sealed
      ? 'The run is sealed: nothing can be added without another root.'
      : `The run is not sealed but ${report.state}: entries may still be added, and a later record then has another root.`,
  )
  sheet.paragraph(
    'Compare the root with that of a signed checkpoint that was kept elsewhere (rollcall checkpoint), and recompute it from the entries themselves:',
    { afterPt: 2 },
  )
  sheet.paragraph(`rollcall verify ${report.runId} --checkpoint FILE`, {
    style: { face: 'mono', sizePt: 8 },
    indentPt: 12,
  })
  sheet.paragraph('Single labels are looked up by their code (rollcall trace) and proved by their entry of the ledger.')
}

function drawCautions(sheet: Sheet, regulated: boolean): void {
  sheet.heading('Cautions', 60)
  for (const caution of [...(regulated ? [regulatedNotice] : []), ...cautions]) sheet.paragraph(caution)
}

export interface PdfExtras {
  /** Sums of the ticket; without them nothing is said of consumption. */
  readonly sums?: ForecastSums | undefined
}

/** What is drawn, a step at a time. */
async function* draw(sheet: Sheet, record: RollRecord, consumption: Consumption | undefined): AsyncGenerator<void> {
  const { report, strip } = record.gathered
  drawOpening(sheet, record)
  sheet.heading('The roll as a strip', Math.min(420, report.cells.length * 13) + 50)
  drawStrip(sheet, strip, report.cells)
  yield
  drawReconciliation(sheet, record.reconciliation())
  yield
  drawFinished(sheet, record.finished(), record.rethreadings)
  drawEarlierPasses(sheet, await earlierPasses(record), report.pass)
  yield
  drawFlags(sheet, report)
  drawStops(sheet, report)
  drawRecalls(sheet, report)
  drawPeople(sheet, report)
  drawReleases(sheet, await releasesOf(record.database, report.versions))
  yield
  yield* drawVersions(sheet, report, (version) => record.picture(version))
  if (consumption) drawConsumption(sheet, consumption)
  drawMaterial(sheet, report)
  drawReports(sheet, report)
  yield
  drawMakeGood(sheet, await (await record.makeGood()).summary())
  yield* drawPullList(sheet, record)
  drawCautions(sheet, report.regulated)
  drawProof(sheet, record)
}

/** Streams the record as PDF. Memory: the record's tables and a page or two, however many pages there are. */
export async function* recordPdf(record: RollRecord, { sums }: PdfExtras = {}): AsyncGenerator<Uint8Array> {
  const { report } = record.gathered
  const sheet = new Sheet({
    title: `Roll record ${report.runId}`,
    madeAtMs: report.lastAtMs,
    foot: {
      run: `Roll record ${report.runId} · roll ${report.roll} · ${report.state === 'sealed' ? 'sealed' : `not sealed (${report.state})`}`,
      proof: `ledger of ${report.treeSize} entries, root ${report.root}`,
    },
  })
  const consumption = sums && consumptionOf(record.gathered.fold, sums)
  for await (const _step of draw(sheet, record, consumption)) {
    const bytes = sheet.taken()
    if (bytes) yield bytes
    await nextTurn()
  }
  sheet.end()
  for await (const bytes of sheet.doc) yield bytes as Uint8Array
}
