// The first page: what ran, how it came out, what a reader has to know before anything else.
import type { RollRecord } from '../roll-record.ts'
import { statedTexts } from '../stated.ts'
import { colours, contentPt, leading, page, type Sheet, type Style } from './sheet.ts'
import { count, joined, share, time } from './words.ts'

const label: Style = { face: 'narrow', sizePt: 7, colour: colours.soft }
const value: Style = { face: 'plain', sizePt: 9 }

// Pairs in two columns; a long value breaks within its own.
function pairs(sheet: Sheet, rows: readonly (readonly [string, string])[]): void {
  const columnPt = contentPt / 2
  for (let i = 0; i < rows.length; i += 2) {
    const cells = rows.slice(i, i + 2).map(([name, text]) => ({
      name,
      lines: sheet.wrap(text, { style: value, widthPt: columnPt - 12, linesMax: 4 }),
    }))
    const heightPt = 10 + Math.max(...cells.map(({ lines }) => lines.length)) * value.sizePt * leading + 4
    sheet.need(heightPt)
    cells.forEach(({ name, lines }, column) => {
      const xPt = page.leftPt + column * columnPt
      sheet.line(name, { style: label, xPt, yPt: sheet.yPt })
      lines.forEach((line, n) => {
        sheet.line(line, { style: value, xPt, yPt: sheet.yPt + 9 + n * value.sizePt * leading })
      })
    })
    sheet.yPt += heightPt
  }
}

// Numbers side by side, large.
function figures(sheet: Sheet, rows: readonly (readonly [string, string, string])[]): void {
  sheet.need(48)
  const columnPt = contentPt / rows.length
  rows.forEach(([name, figure, below], i) => {
    const xPt = page.leftPt + i * columnPt
    sheet.line(name, { style: label, xPt, yPt: sheet.yPt })
    sheet.line(figure, { style: { face: 'bold', sizePt: 13 }, xPt, yPt: sheet.yPt + 9 })
    sheet.line(below, { style: label, xPt, yPt: sheet.yPt + 26 })
  })
  sheet.yPt += 42
}

/** A box that is seen before anything else. */
export function notice(sheet: Sheet, text: string): void {
  const style: Style = { face: 'plain', sizePt: 8.5 }
  const lines = sheet.wrap(text, { style, widthPt: contentPt - 20, linesMax: 20 })
  const heightPt = lines.length * style.sizePt * leading + 12
  sheet.need(heightPt + 6)
  sheet.doc.rect(page.leftPt, sheet.yPt, contentPt, heightPt).fill(colours.shade)
  sheet.doc.rect(page.leftPt, sheet.yPt, 3, heightPt).fill(colours.ink)
  lines.forEach((line, n) => {
    sheet.line(line, { style, xPt: page.leftPt + 12, yPt: sheet.yPt + 6 + n * style.sizePt * leading })
  })
  sheet.yPt += heightPt + 8
}

export const regulatedNotice =
  'Regulated labels. This record shows evidence; it releases nothing. A named, qualified person releases the labels, and examines and reconciles them (such as 21 CFR 211.122 and 211.125 ask; names from memory).'

export function drawOpening(sheet: Sheet, record: RollRecord): void {
  const { report } = record.gathered
  sheet.line('Roll record', { style: { face: 'bold', sizePt: 20 }, xPt: page.leftPt, yPt: sheet.yPt })
  sheet.yPt += 28
  sheet.paragraph(`Run ${report.runId}`, { style: { face: 'plain', sizePt: 11 }, afterPt: 8 })
  if (report.regulated) notice(sheet, regulatedNotice)
  const tickets = report.tickets.length > 0 ? report.tickets : [report]
  pairs(sheet, [
    [tickets.length > 1 ? 'Rolls unwound' : 'Roll unwound', [...new Set(tickets.map(({ roll }) => roll))].join(', ')],
    [tickets.length > 1 ? 'Tickets' : 'Ticket', tickets.map(({ ticket }) => ticket).join(', ')],
    ['Line', report.line],
    ['Pass', String(report.pass)],
    ['Jobs', report.jobs.map(({ job, title }) => `${job} (${title})`).join('; ')],
    ['State of the run', report.state],
    ['From', `${time(report.openedAtMs)} UTC`],
    ['To (last entry)', `${time(report.lastAtMs)} UTC`],
  ])
  const { run } = record.reconciliation()
  sheet.yPt += 4
  figures(sheet, [
    ['labels in', count(run.in), `${count(report.frames)} frames seen`],
    ['laid', count(run.laid), share(run.laid, run.in)],
    ['skipped', count(run.skipped), share(run.skipped, run.in)],
    ['set-up', count(run.setUp), share(run.setUp, run.in)],
    ['spoiled', count(run.spoiled), share(run.spoiled, run.in)],
    ['unaccounted', count(run.unaccounted), share(run.unaccounted, run.in)],
    ['difference', count(run.difference), 'of the sum'],
  ])
  const stated = run.expected && statedTexts(run.expected, { seen: run.in, count })
  if (stated?.mend) notice(sheet, `${stated.text} ${stated.mend}`)
  if (report.override !== undefined) overridden(sheet, report.override)
}

interface Blocker {
  readonly code: string
  readonly message: string
  readonly job?: string
  readonly design?: string
  readonly version?: number
  readonly layer?: string
}

function overridden(sheet: Sheet, override: string): void {
  const blockers = JSON.parse(override) as readonly Blocker[]
  const rows = blockers.slice(0, 12).map(({ code, message, job, design, version, layer }) => {
    const where = joined([job, design, version, layer])
    return `${code}: ${message}${where ? ` (${where})` : ''}`
  })
  const more = blockers.length > 12 ? [`and ${blockers.length - 12} more`] : []
  notice(
    sheet,
    `Opened in spite of ${blockers.length === 1 ? 'a blocker' : `${blockers.length} blockers`}: ${[...rows, ...more].join('; ')}`,
  )
}
