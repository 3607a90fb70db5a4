// The roll record as one HTML page with everything that follows from it: what report-html shows, and finished rolls, reconciliation, pull
// list, make-good list, releases, pictures and consumption.
import { type Column, esc, tableHtml } from '../html.ts'
import { reportHtml } from '../report-html.ts'
import { consumptionOf, type ForecastSums } from './consumption.ts'
import { type EarlierPassRow, earlierPasses } from './earlier-passes.ts'
import type { MakeGoodSummary } from './make-good.ts'
import type { PullRow } from './pull-list.ts'
import type { Reconciliation, Tally } from './reconciliation.ts'
import { releasesOf } from './releases.ts'
import type { RollRecord } from './roll-record.ts'
import { statedTexts } from './stated.ts'

const time = (ms: number): string => new Date(ms).toISOString().replace('T', ' ').slice(0, 19)

const tallyNames = ['in', 'laid', 'skipped', 'set-up', 'spoiled', 'unaccounted', 'difference']

const tallyColumns = (first: string): Column[] => [
  [first, 'text'],
  ...tallyNames.map((name): Column => [name, 'number']),
]

const tallyCells = (name: string, row: Tally): readonly unknown[] => [
  name,
  ...[row.in, row.laid, row.skipped, row.setUp, row.spoiled, row.unaccounted, row.difference],
]

const lanesText = (lanes: readonly number[] | undefined): string => (lanes ? ` (lanes ${lanes.join(', ')})` : '')

function reconciliationHtml({ run, rolls, cutOut, rests, designs }: Reconciliation): string {
  const rows = [
    tallyCells('the run', run),
    ...rolls.map((row) => tallyCells(`roll ${row.roll}${lanesText(row.lanes)}`, row)),
    ...(cutOut.in > 0 ? [tallyCells('cut out after laying', cutOut)] : []),
    ...rests.map((row) => tallyCells(`left on ${row.roll}, not run`, row)),
  ]
  const byDesign = designs.map((row) =>
    tallyCells([row.job, row.design].filter(Boolean).join(' / ') || 'not known', row),
  )
  const { expected } = run
  const { text, mend } = expected ? statedTexts(expected, { seen: run.in }) : {}
  const stated =
    text === undefined ? '' : `<p${mend ? ' class="note"' : ''}>${[text, mend].filter(Boolean).join(' ')}</p>`
  return `<h2>Reconciliation</h2>${tableHtml(tallyColumns('where'), rows, 'No label was seen.')}${stated}
${tableHtml(tallyColumns('design'), byDesign, 'No label was seen.')}`
}

function finishedHtml(record: RollRecord): string {
  const rolls: Column[] = [
    ['finished roll', 'name'],
    ['length m', 'number'],
    ['labels', 'number'],
    ['outermost frame', 'number'],
    ['innermost frame', 'number'],
    ['from', 'text'],
  ]
  const rows = record
    .finished()
    .map((row) => [
      `${row.roll}${lanesText(row.lanes)}${row.rewound ? ', rewound' : ''}${row.slitFrom ? `, slit from ${row.slitFrom}` : ''}`,
      row.lengthM.toFixed(2),
      row.labels,
      row.outerFrame,
      row.innerFrame,
      row.origins.map(
        (from) => `roll ${from.roll}, ticket ${from.ticket}, frames ${from.firstFrame} to ${from.lastFrame}`,
      ),
    ])
  return `<h2>Finished rolls</h2>${tableHtml(rolls, rows, 'No roll was wound up.')}`
}

function earlierHtml(rows: readonly EarlierPassRow[], pass: number): string {
  if (pass === 1) return ''
  const columns: Column[] = [
    ['pass', 'number'],
    ['run', 'name'],
    ['ticket', 'name'],
    ['line', 'name'],
    ['opened (UTC)', 'time'],
    ['state', 'text'],
    ['ledger root', 'digest'],
  ]
  const cells = rows.map((row) => [
    row.pass,
    row.runId,
    row.ticket,
    row.line,
    time(row.openedAtMs),
    row.state,
    row.root,
  ])
  const none = 'No run of an earlier pass over a roll of this name is known here.'
  return `<h2>Earlier passes over this roll</h2>${tableHtml(columns, cells, none)}`
}

/** Sections shown on the page; the CSV has all. */
const sectionsMax = 2_000

function pullHtml(rows: readonly PullRow[], more: boolean): string {
  const columns: Column[] = [
    ['roll', 'name'],
    ['from outside, m', 'number'],
    ['to, m', 'number'],
    ['± m', 'number'],
    ['cells', 'text'],
    ['labels', 'number'],
    ['what is wrong', 'text'],
    ['code met before', 'text'],
    ['code met after', 'text'],
  ]
  const cells = rows.map((row) => [
    row.roll,
    row.fromM.toFixed(2),
    row.toM.toFixed(2),
    row.toleranceM.toFixed(2),
    row.cells.join(', '),
    row.labels,
    row.class === 'skipped' ? row.what : `${row.class}: ${row.what}`,
    row.codeBefore,
    row.codeAfter,
  ])
  const rest = more ? `<p>The first ${sectionsMax} sections; the pull list as CSV has all of them.</p>` : ''
  return `<h2>Pull list</h2>${tableHtml(columns, cells, 'Nothing is to be pulled.')}${rest}`
}

async function pullRowsOf(record: RollRecord): Promise<string> {
  const rows: PullRow[] = []
  for await (const row of record.pullList()) {
    if (rows.length === sectionsMax) return pullHtml(rows, true)
    rows.push(row)
  }
  return pullHtml(rows, false)
}

function makeGoodHtml(made: MakeGoodSummary): string {
  return `<h2>To make again</h2><p>${made.labels} labels: ${made.withCode} by their code, ${made.withoutCode} of which no code is known.
Laid elsewhere on this run ${made.laidElsewhere}, duplicates ${made.duplicates}, of other jobs ${made.ofOtherJobs}.</p>`
}

/** Pictures on one page; a hundred kilobytes each. */
const picturesMax = 24

async function releasesHtml(record: RollRecord): Promise<string> {
  const { versions } = record.gathered.report
  const columns: Column[] = [
    ['version', 'name'],
    ['act', 'name'],
    ['time (UTC)', 'time'],
    ['who', 'text'],
    ['why', 'text'],
  ]
  const rows = (await releasesOf(record.database, versions)).map((row) => [
    `${row.job} / ${row.design} v${row.version}`,
    row.act === 'withdraw' ? 'withdrawn' : 'released',
    time(row.atMs),
    row.second === undefined ? row.by : `${row.by} with ${row.second}`,
    row.why,
  ])
  const pictures: string[] = []
  for (const use of versions.slice(0, picturesMax)) {
    const bytes = await record.picture(use)
    if (!bytes) continue
    const name = esc(`${use.job} / ${use.design} v${use.version}`)
    const data = Buffer.from(bytes).toString('base64')
    const caption = `${name}: whole design; laid in this pass: ${esc(Object.keys(use.layers).join(', '))}`
    pictures.push(
      `<figure><img alt="${name}" src="data:image/png;base64,${data}"><figcaption>${caption}</figcaption></figure>`,
    )
  }
  return `<h2>Who released the versions laid</h2>${tableHtml(columns, rows, 'No act on these versions is on record.')}
<div class="pictures">${pictures.join('')}</div>`
}

function consumptionHtml(record: RollRecord, sums: ForecastSums): string {
  const columns: Column[] = [
    ['station', 'name'],
    ['fluid', 'name'],
    ['labels', 'number'],
    ['laid mL', 'number'],
    ['forecast mL', 'number'],
    ['', 'text'],
  ]
  const rows = consumptionOf(record.gathered.fold, sums).rows.map((row) => [
    row.station,
    row.fluid,
    row.labels,
    row.laidMl.toFixed(2),
    row.forecastMl?.toFixed(2),
    '',
  ])
  return `<h2>Consumption: forecast against laid</h2>${tableHtml(columns, rows, 'No fluid was laid.')}`
}

/** One self-contained page; everything from outside is escaped, and nothing is loaded. */
export async function recordHtml(
  record: RollRecord,
  { sums }: { sums?: ForecastSums | undefined } = {},
): Promise<string> {
  const { report, strip } = record.gathered
  const parts = [
    reconciliationHtml(record.reconciliation()),
    finishedHtml(record),
    earlierHtml(await earlierPasses(record), report.pass),
    await releasesHtml(record),
    ...(sums ? [consumptionHtml(record, sums)] : []),
    makeGoodHtml(await (await record.makeGood()).summary()),
    await pullRowsOf(record),
  ]
  return reportHtml({ ...report, strip: strip.columns() }, parts.join('\n'))
}
