// Sections on what was done and by whom: people, versions with their layers and pictures, flags, stops, material.
import { labelsText } from '../../recall-list.ts'
import type { RunReport } from '../../report.ts'
import type { ReleaseRow } from '../releases.ts'
import { colours, contentPt, page, type Sheet, type Style } from './sheet.ts'
import { drawTable, type PdfColumn, PdfTable } from './table.ts'
import { count, joined, metres, people, ranges, time } from './words.ts'

type Report = Omit<RunReport, 'strip'>

const noted: Style = { face: 'narrow', sizePt: 7.5, colour: colours.soft }

export function drawPeople(sheet: Sheet, { acts }: Report): void {
  sheet.heading('Who did what')
  drawTable(sheet, {
    columns: [
      { heading: 'time (UTC)', share: 22 },
      { heading: 'what', share: 31 },
      { heading: 'who', share: 22 },
      { heading: 'why', share: 34 },
      { heading: 'entry', share: 8, kind: 'number' },
    ],
    rows: acts.map((act) => [time(act.atMs), act.what, people(act), act.why, act.index]),
    empty: 'Nobody did anything.',
  })
}

export function drawReleases(sheet: Sheet, releases: readonly ReleaseRow[]): void {
  sheet.heading('Who released the versions laid')
  drawTable(sheet, {
    columns: [
      { heading: 'version', share: 32 },
      { heading: 'act', share: 10 },
      { heading: 'time (UTC)', share: 20 },
      { heading: 'who', share: 22 },
      { heading: 'why', share: 30 },
    ],
    rows: releases.map((row) => [
      `${joined([row.job, row.design])} v${row.version}`,
      row.act === 'withdraw' ? 'withdrawn' : 'released',
      time(row.atMs),
      people(row),
      row.why,
    ]),
    empty: 'No act on a version that was laid is on record.',
  })
}

/** Pictures drawn in one record; the rest are kept with their packages. */
export const picturesMax = 60
const picturePt = 66

type PictureOf = (version: { job: string; design: string; version: number }) => Promise<Uint8Array | undefined>

/** A picture, digests and counts a version. Yields after each, so that pages can leave. */
export async function* drawVersions(sheet: Sheet, { versions }: Report, pictureOf: PictureOf): AsyncGenerator<void> {
  sheet.heading('Versions laid', picturePt + 20)
  if (versions.length === 0) sheet.paragraph('Nothing was laid.')
  else {
    const about = 'Layers laid in this pass by their SHA-256; published bytes under a digest never change.'
    sheet.paragraph(`${about} A picture shows the whole design, with layers of other passes.`, { style: noted })
  }
  let pictures = 0
  for (const use of versions) {
    const picture = pictures < picturesMax ? await pictureOf(use) : undefined
    if (picture) pictures++
    const layers = Object.entries(use.layers)
    const textPt = 24 + layers.length * 9.5
    const heightPt = Math.max(textPt, picture ? picturePt : 0) + 8
    sheet.need(Math.min(heightPt, 400))
    drawVersion(sheet, use, picture)
    yield
  }
  if (versions.length > picturesMax && pictures === picturesMax) {
    sheet.paragraph(`Pictures of the first ${picturesMax} versions only; the others are kept with their packages.`, {
      style: noted,
    })
  }
}

function drawVersion(sheet: Sheet, use: Report['versions'][number], picture: Uint8Array | undefined): void {
  const xPt = page.leftPt + picturePt + 12
  const widthPt = contentPt - picturePt - 12
  const startPt = sheet.yPt
  if (picture) sheet.doc.image(Buffer.from(picture), page.leftPt, startPt, { fit: [picturePt, picturePt] })
  else {
    sheet.doc.rect(page.leftPt, startPt, picturePt, 22).lineWidth(0.4).stroke(colours.rule)
    sheet.line('no picture', { style: { ...noted, sizePt: 6.5 }, xPt: page.leftPt + 6, yPt: startPt + 6 })
  }
  const pageBefore = sheet.pages
  const name: Style = { face: 'bold', sizePt: 8.5 }
  const [title = ''] = sheet.wrap(`${joined([use.job, use.design])} version ${use.version}`, {
    style: name,
    widthPt,
    linesMax: 1,
  })
  sheet.line(title, { style: name, xPt, yPt: startPt })
  const counts = `answered lay ${count(use.labels)}, in set-up ${count(use.setup)}, of these revoked ${count(use.revoked)}`
  sheet.line(counts, { style: noted, xPt, yPt: startPt + 12 })
  sheet.yPt = startPt + 24
  for (const [layer, digest] of Object.entries(use.layers)) {
    sheet.need(10)
    const nameStyle: Style = { face: 'narrow', sizePt: 7 }
    const digestStyle: Style = { face: 'mono', sizePt: 6 }
    const digestPt = sheet.measure(digest, digestStyle)
    const [short = ''] = sheet.wrap(layer, { style: nameStyle, widthPt: widthPt - digestPt - 10, linesMax: 1 })
    sheet.line(short, { style: nameStyle, xPt, yPt: sheet.yPt })
    sheet.line(digest, { style: digestStyle, xPt: xPt + widthPt - digestPt, yPt: sheet.yPt + 0.8 })
    sheet.yPt += 9.5
  }
  if (sheet.pages === pageBefore) sheet.yPt = Math.max(sheet.yPt, startPt + (picture ? picturePt : 22))
  sheet.yPt += 8
}

export function drawFlags(sheet: Sheet, { flags }: Report): void {
  sheet.heading('Flags')
  drawTable(sheet, {
    columns: [
      { heading: 'flag', share: 26 },
      { heading: 'labels', share: 12, kind: 'number' },
      { heading: 'first seen at', share: 40 },
      { heading: 'entry', share: 10, kind: 'number' },
    ],
    rows: flags.map(({ flag, labels, example }) => [
      flag,
      count(labels),
      `frame ${example.frame}, cell ${example.cell}`,
      example.index,
    ]),
    empty: 'No label was flagged.',
  })
}

export function drawStops(sheet: Sheet, { stops }: Report): void {
  sheet.heading('Stops')
  drawTable(sheet, {
    columns: [
      { heading: 'where', share: 19 },
      { heading: 'cause', share: 42 },
      { heading: 'cleared by', share: 20 },
      { heading: 'why', share: 26 },
      { heading: 'after', share: 12 },
      { heading: 'entry', share: 8, kind: 'number' },
    ],
    rows: stops.map((stop) => [
      stop.frame === undefined ? 'a recall' : `frame ${stop.frame}, cell ${stop.cell}`,
      joined([stop.flag, stop.job, stop.design, stop.print]),
      stop.clearedBy ?? 'still open',
      stop.clearedWhy,
      stop.after,
      stop.index,
    ]),
    empty: 'The web was never asked to stop.',
  })
}

/** Absent where no version was recalled. */
export function drawRecalls(sheet: Sheet, { recalls }: Report): void {
  if (recalls.length === 0) return
  sheet.heading('Recalls')
  drawTable(sheet, {
    columns: [
      { heading: 'version', share: 24 },
      { heading: 'withdrawn by', share: 18 },
      { heading: 'revoked', share: 10, kind: 'number' },
      { heading: 'too late', share: 10, kind: 'number' },
      { heading: 'of these, newest first (frame/cell, reported)', share: 46 },
      { heading: 'entry', share: 8, kind: 'number' },
    ],
    rows: recalls.map((row) => [
      `${row.job} ${row.design} v${row.version}`,
      row.by,
      row.revoked.labels,
      row.passed.labels,
      labelsText(row.passed),
      row.ledgerIndex,
    ]),
    empty: '',
  })
}

const materialColumns: readonly PdfColumn[] = [
  { heading: 'event', share: 13 },
  { heading: 'position m', share: 13, kind: 'number' },
  { heading: 'what', share: 44 },
  { heading: 'by', share: 20 },
  { heading: 'entry', share: 8, kind: 'number' },
]

type MaterialRow = Report['material'][number]

function whatOf(row: MaterialRow): string {
  const lanes = row.laneRolls?.map(({ roll, lanes }) => `${roll} (lanes ${ranges(lanes)})`)
  return [
    row.roll && `roll ${row.roll}`,
    lanes && `into ${lanes.join(', ')}`,
    row.toPositionUm !== undefined && `to ${metres(row.toPositionUm / 1e6)} m`,
    row.frames !== undefined && `${row.frames} frames missing`,
    row.station && `${row.station}: ${row.foil ?? 'no foil'}`,
    row.voids !== undefined && `entry ${row.voids} was recorded wrongly`,
    row.note,
  ]
    .filter(Boolean)
    .join('; ')
}

export function drawMaterial(sheet: Sheet, { material }: Report): void {
  sheet.heading('The material')
  const voided = new Set(material.flatMap(({ voids }) => (voids === undefined ? [] : [voids])))
  const table = new PdfTable(sheet, materialColumns)
  for (const row of material) {
    const position = row.positionUm === undefined ? '' : metres(row.positionUm / 1e6)
    const what = `${voided.has(row.index) ? '(void) ' : ''}${whatOf(row)}`
    table.row([
      row.event,
      position,
      what,
      row.by === undefined ? '' : people({ by: row.by, second: row.second }),
      row.index,
    ])
  }
  table.end('No events were recorded.')
}

export function drawReports(sheet: Sheet, { laid }: Report): void {
  sheet.heading('What the controller reported', 30)
  const rows = Object.entries(laid).map(([word, labels]) => `${word} ${count(labels)}`)
  sheet.paragraph(
    `Labels by report: ${rows.join(', ')}. A label without a report counts as laid where it was answered lay.`,
  )
}
