// Sections on the labels and the rolls: reconciliation, finished rolls and what they came from, pull list, make-good list, consumption.
import type { Consumption } from '../consumption.ts'
import type { EarlierPassRow } from '../earlier-passes.ts'
import type { MakeGoodSummary } from '../make-good.ts'
import type { PullRow } from '../pull-list.ts'
import type { Reconciliation, Tally } from '../reconciliation.ts'
import type { FinishedView, RollRecord } from '../roll-record.ts'
import { statedTexts } from '../stated.ts'
import { colours, type Sheet, type Style } from './sheet.ts'
import { drawTable, type PdfCell, type PdfColumn, PdfTable } from './table.ts'
import { count, joined, metres, ranges, time } from './words.ts'

const noted: Style = { face: 'narrow', sizePt: 7.5, colour: colours.soft }

const tallyColumns = (first: string): readonly PdfColumn[] => [
  { heading: first, share: 34 },
  ...['in', 'laid', 'skipped', 'set-up', 'spoiled', 'unaccounted', 'difference'].map(
    (heading): PdfColumn => ({ heading, share: heading.length > 8 ? 13 : 10, kind: 'number' }),
  ),
]

const tallyCells = (name: string, row: Tally): readonly PdfCell[] => [
  name,
  ...[row.in, row.laid, row.skipped, row.setUp, row.spoiled, row.unaccounted, row.difference].map(count),
]

const lanesText = (lanes: readonly number[] | undefined): string =>
  lanes === undefined ? '' : ` (${lanes.length === 1 ? 'lane' : 'lanes'} ${ranges(lanes)})`

export function drawReconciliation(sheet: Sheet, { run, rolls, cutOut, rests, designs }: Reconciliation): void {
  sheet.heading('Reconciliation', 120)
  sheet.paragraph(
    'In = laid + skipped + set-up + spoiled + unaccounted. Every label counts once, however often the web was backed up. Laid: answered lay, not revoked, not reported none. Skipped: answered skip or stop, revoked, or reported none. Set-up: decided while proving alone. Spoiled: cut out, or reported laid in part, unknown, or against its answer. Unaccounted: without an answer.',
    { style: noted },
  )
  drawTable(sheet, {
    columns: tallyColumns('where'),
    rows: [
      tallyCells('the run', run),
      ...rolls.map((row) => tallyCells(`roll ${row.roll}${lanesText(row.lanes)}`, row)),
      ...(cutOut.in > 0 ? [tallyCells('cut out after laying', cutOut)] : []),
      ...rests.map((row) => tallyCells(`left on ${row.roll}, not run`, row)),
    ],
    empty: '',
  })
  if (run.expected) {
    const { text, mend } = statedTexts(run.expected, { seen: run.in, count })
    sheet.paragraph(mend === undefined ? text : `${text} ${mend}`)
  }
  if (run.passedUnseen > 0)
    sheet.paragraph(
      `${count(run.passedUnseen)} labels passed without a trigger between frames that were seen; they are unaccounted.`,
    )
  sheet.subheading('By job and design')
  drawTable(sheet, {
    columns: tallyColumns('design'),
    rows: designs.map((row) => tallyCells(row.design === undefined ? 'not known' : joined([row.job, row.design]), row)),
    empty: 'No label was seen.',
  })
}

export function drawFinished(sheet: Sheet, rolls: readonly FinishedView[], rethreadings: number): void {
  sheet.heading('Finished rolls and where they came from', 90)
  drawTable(sheet, {
    columns: [
      { heading: 'roll', share: 30 },
      { heading: 'length m', share: 10, kind: 'number' },
      { heading: 'labels', share: 10, kind: 'number' },
      { heading: 'outermost frame', share: 13, kind: 'number' },
      { heading: 'innermost frame', share: 13, kind: 'number' },
      { heading: 'joins', share: 7, kind: 'number' },
      { heading: 'wound', share: 22 },
    ],
    rows: rolls.map((row) => [
      `${row.roll}${lanesText(row.lanes)}${row.slitFrom === undefined ? '' : `, slit from ${row.slitFrom}`}`,
      metres(row.lengthM),
      count(row.labels),
      row.outerFrame,
      row.innerFrame,
      row.joins,
      row.rewound ? 'rewound: first frame outside' : 'last frame outside',
    ]),
    empty: 'No roll was wound up.',
  })
  drawTable(sheet, {
    columns: [
      { heading: 'finished roll', share: 26 },
      { heading: 'from roll', share: 22 },
      { heading: 'ticket', share: 18 },
      { heading: 'pass', share: 7, kind: 'number' },
      { heading: 'frames', share: 16 },
      { heading: 'encoder m', share: 20 },
    ],
    rows: rolls.flatMap(({ roll, origins }) =>
      origins.map((from) => [
        roll,
        from.roll,
        from.ticket,
        from.pass,
        `${from.firstFrame ?? '?'} to ${from.lastFrame ?? '?'}`,
        `${metres(from.fromMm / 1000)} to ${metres(from.toMm / 1000)}`,
      ]),
    ),
    empty: 'Nothing was unwound.',
  })
  if (rethreadings > 0) {
    sheet.paragraph(
      `The web was threaded again ${rethreadings} times: what passed then is not measured, and metres across it are too short.`,
    )
  }
}

const pullColumns: readonly PdfColumn[] = [
  { heading: 'from, m', share: 12, kind: 'number' },
  { heading: 'to, m', share: 11, kind: 'number' },
  { heading: '± m', share: 8, kind: 'number' },
  { heading: 'lanes / cells', share: 14 },
  { heading: 'labels', share: 9, kind: 'number' },
  { heading: 'what is wrong', share: 24 },
  { heading: 'code met before', share: 36 },
  { heading: 'code met after', share: 36 },
]

const neighbour = (code: string | undefined, frames: number | undefined): PdfCell =>
  code === undefined ? 'none near' : frames === 1 ? code : [code, `(${frames} frames off)`]

/** Sections of one roll that are drawn; a roll with more is not pulled by hand. */
const sectionsMax = 5_000

/** Yields after some rows, so that pages can leave. */
export async function* drawPullList(sheet: Sheet, record: RollRecord): AsyncGenerator<void> {
  sheet.heading('Pull list', 110)
  sheet.paragraph(
    'Where to stop when the roll is unwound from its outside as it is wound now. Metres are from the outside, of measured mark positions, without what was cut out. ± is one pitch, 0.1 % of the length, three times the scatter of the marks and half a pitch for each join in between (common practice, no source). The codes beside are those of the first cell named.',
    { style: noted },
  )
  for (const { roll, lanes } of record.wound.rolls) {
    sheet.subheading(`Roll ${roll}${lanesText(lanes)}`, 60)
    const table = new PdfTable(sheet, pullColumns)
    let sections = 0
    for await (const row of record.pullList({ roll })) {
      if (++sections <= sectionsMax) pullRow(table, row)
      if (sections % 50 === 0) yield
    }
    table.end('Nothing is to be pulled: every label on this roll is laid as it should be.')
    if (sections > sectionsMax) {
      sheet.paragraph(
        `${count(sections - sectionsMax)} more sections are left out here; the pull list as CSV has all of them.`,
      )
    }
    yield
  }
}

function pullRow(table: PdfTable, row: PullRow): void {
  table.row([
    row.fromM.toFixed(2),
    row.toM.toFixed(2),
    row.toleranceM.toFixed(2),
    `${ranges(row.lanes)} / ${ranges(row.cells)}`,
    row.labels,
    row.class === 'skipped' ? row.what : `${row.class}: ${row.what}`,
    neighbour(row.codeBefore, row.framesBefore),
    neighbour(row.codeAfter, row.framesAfter),
  ])
}

export function drawMakeGood(sheet: Sheet, made: MakeGoodSummary): void {
  sheet.heading('To make again', 60)
  const known = made.fromSequence > 0 ? ` (${count(made.fromSequence)} of them by the ticket's sequence)` : ''
  sheet.paragraph(
    `${count(made.labels)} labels: ${count(made.withCode)} by their code${known}, ${count(made.withoutCode)} of which no code is known. The make-good list as CSV has the codes and can become a ticket's sequence.`,
  )
  if (made.misprinted > 0) {
    sheet.paragraph(
      `The other ${count(made.misprinted)} carry a print version that no released version fits: they are to be printed anew under another code, and stand in no list of codes.`,
    )
  }
  const others: readonly (readonly [number, string])[] = [
    [made.laidElsewhere, 'were laid elsewhere on this run'],
    [made.duplicates, 'carry a serial that another label of this run has (duplicate)'],
    [made.ofOtherJobs, 'are of jobs that are not on the ticket'],
  ]
  const left = others.filter(([labels]) => labels > 0).map(([labels, what]) => `${count(labels)} ${what}`)
  if (left.length > 0) sheet.paragraph(`Not laid here and not to be made again: ${left.join('; ')}.`)
  if (made.laidOnce > 0) {
    sheet.paragraph(
      `${count(made.laidOnce)} of the labels to make again were answered lay once. Under the same serial they would be skipped as duplicates; they need new ones.`,
    )
  }
  if (made.sections.length === 0) return
  sheet.subheading('Where the labels without a code were')
  drawTable(sheet, {
    columns: [
      { heading: 'frames', share: 26 },
      { heading: 'encoder m', share: 16, kind: 'number' },
      { heading: 'cells', share: 26 },
      { heading: 'labels', share: 12, kind: 'number' },
    ],
    rows: made.sections.map(({ firstFrame, lastFrame, positionMm, cells, labels }) => [
      firstFrame === undefined
        ? 'without a trigger'
        : firstFrame === lastFrame
          ? firstFrame
          : `${firstFrame} to ${lastFrame ?? '?'}`,
      metres(positionMm / 1000),
      ranges(cells),
      count(labels),
    ]),
    empty: '',
  })
  if (made.sectionsMore > 0) sheet.paragraph(`And ${count(made.sectionsMore)} more sections.`)
}

export function drawConsumption(sheet: Sheet, { rows, labelsUnknown, assumed }: Consumption): void {
  sheet.heading('Consumption: forecast against laid')
  sheet.paragraph(
    'Laid: labels that carry layers, set-up included, times what one of each version takes. Forecast: the sums of the ticket for run and set-up. Neither is measured at the machine.',
    { style: noted },
  )
  drawTable(sheet, {
    columns: [
      { heading: 'station', share: 18 },
      { heading: 'fluid', share: 18 },
      { heading: 'labels', share: 14, kind: 'number' },
      { heading: 'laid mL', share: 14, kind: 'number' },
      { heading: 'forecast mL', share: 14, kind: 'number' },
      { heading: 'laid of forecast', share: 16, kind: 'number' },
      { heading: 'purge mL', share: 12, kind: 'number' },
    ],
    rows: rows.map((row) => [
      row.station,
      row.fluid,
      count(row.labels),
      row.laidMl.toFixed(2),
      row.forecastMl?.toFixed(2),
      row.forecastMl ? `${((100 * row.laidMl) / row.forecastMl).toFixed(1)} %` : '',
      row.purgeMl?.toFixed(1),
    ]),
    empty: 'No fluid was laid.',
  })
  if (assumed) {
    sheet.paragraph(
      'No sequence says what is on the roll: the forecast takes each cell to be shared evenly by the versions that fit it.',
    )
  }
  if (labelsUnknown > 0)
    sheet.paragraph(`${count(labelsUnknown)} labels were laid with versions that the sums do not know.`)
}

/** Nothing on the record of a first pass. */
export function drawEarlierPasses(sheet: Sheet, rows: readonly EarlierPassRow[], pass: number): void {
  if (pass === 1) return
  sheet.heading('Earlier passes over this roll', 70)
  drawTable(sheet, {
    columns: [
      { heading: 'pass', share: 6, kind: 'number' },
      { heading: 'run', share: 20 },
      { heading: 'ticket', share: 20 },
      { heading: 'line', share: 14 },
      { heading: 'opened (UTC)', share: 22 },
      { heading: 'state', share: 10 },
      { heading: 'ledger root', share: 24 },
    ],
    rows: rows.map((row) => [
      row.pass,
      row.runId,
      row.ticket,
      row.line,
      time(row.openedAtMs),
      row.state,
      row.root === '' ? '' : `${row.root.slice(0, 16)}…`,
    ]),
    empty: 'No run of an earlier pass over a roll of this name is known here.',
  })
}
