// The roll as a strip of vectors: a row a cell, a column a frame or several. Tones differ in lightness and in shape, so that a gray print
// tells them apart.
import type { RunReport } from '../../report.ts'
import type { StripTable } from '../../report-strip-table.ts'
import { colours, contentPt, page, type Sheet, type Style } from './sheet.ts'

interface Tone {
  readonly word: string
  readonly fill: string
  /** Upper and lower edge as shares of the row. */
  readonly from: number
  readonly to: number
}

const tones: Readonly<Record<string, Tone>> = {
  l: { word: 'lay', fill: '#c3d3cb', from: 0, to: 1 },
  u: { word: 'set-up', fill: '#8fa99c', from: 0.5, to: 1 },
  s: { word: 'skip', fill: '#c48a14', from: 0, to: 0.62 },
  r: { word: 'revoked', fill: '#8a4b16', from: 0.38, to: 1 },
  x: { word: 'stop', fill: '#3a0709', from: 0, to: 1 },
}
// The strictest of a column's letters shows.
const rank = 'xrsul'

const columnsMax = 480
const namePt = 62
const note: Style = { face: 'narrow', sizePt: 7, colour: colours.soft }

/** The strictest letters of each column, cell by cell. */
function binned(strip: StripTable): { readonly bins: readonly string[]; readonly per: number } {
  const per = Math.max(1, Math.ceil(strip.frames / columnsMax))
  const bins: string[] = []
  for (let from = 0; from < strip.frames; from += per) {
    const worst = new Array<string>(strip.cellCount).fill(' ')
    for (let row = from; row < Math.min(from + per, strip.frames); row++) {
      const letters = strip.lettersOf(row)
      for (let i = 0; i < worst.length; i++) worst[i] = stricter(worst[i] ?? ' ', letters[i] ?? ' ')
    }
    bins.push(worst.join(''))
  }
  return { bins, per }
}

function stricter(a: string, b: string): string {
  const [rankA, rankB] = [rank.indexOf(a), rank.indexOf(b)]
  if (rankA < 0) return b
  return rankB >= 0 && rankB < rankA ? b : a
}

// Neighbouring columns of one tone are one rectangle.
function drawRow(sheet: Sheet, letters: string, at: { yPt: number; heightPt: number; columnPt: number }): void {
  for (let from = 0; from < letters.length; ) {
    let to = from + 1
    while (to < letters.length && letters[to] === letters[from]) to++
    const tone = tones[letters[from] ?? ' ']
    if (tone) {
      const xPt = page.leftPt + namePt + from * at.columnPt
      const [top, bottom] = [at.yPt + tone.from * at.heightPt, at.yPt + tone.to * at.heightPt]
      sheet.doc.rect(xPt, top, (to - from) * at.columnPt, bottom - top).fill(tone.fill)
    }
    from = to
  }
}

function drawKey(sheet: Sheet): void {
  let xPt = page.leftPt
  for (const { word, fill, from, to } of Object.values(tones)) {
    sheet.doc.rect(xPt, sheet.yPt, 9, 9).lineWidth(0.4).stroke(colours.rule)
    sheet.doc.rect(xPt, sheet.yPt + from * 9, 9, (to - from) * 9).fill(fill)
    sheet.line(word, { style: note, xPt: xPt + 13, yPt: sheet.yPt + 0.5 })
    xPt += 13 + sheet.measure(word, note) + 16
  }
  sheet.yPt += 15
}

function drawAxis(sheet: Sheet, strip: StripTable): void {
  const wide = contentPt - namePt
  const marks = strip.frames > 2 ? [0, Math.floor((strip.frames - 1) / 2), strip.frames - 1] : [0]
  marks.forEach((row, i) => {
    const text = `frame ${strip.frameNumber(row)}, ${(strip.positionMm(row) / 1000).toFixed(1)} m`
    const share = marks.length > 1 ? i / (marks.length - 1) : 0
    const xPt = page.leftPt + namePt + share * (wide - sheet.measure(text, note))
    sheet.line(text, { style: note, xPt, yPt: sheet.yPt + 2 })
  })
  sheet.yPt += 15
}

/** The strip with axis and key; first frame at the left. */
export function drawStrip(sheet: Sheet, strip: StripTable, cells: RunReport['cells']): void {
  if (strip.frames === 0) {
    sheet.paragraph('No frame was recorded.')
    return
  }
  const { bins, per } = binned(strip)
  const rowPt = Math.max(2.2, Math.min(13, 420 / cells.length))
  const columnPt = (contentPt - namePt) / bins.length
  sheet.need(cells.length * rowPt + 46)
  cells.forEach(({ cell, lane }, ordinal) => {
    const letters = bins.map((bin) => bin[ordinal] ?? ' ').join('')
    const heightPt = rowPt - Math.min(1.5, rowPt / 4)
    if (rowPt >= 8) sheet.line(`lane ${lane}, cell ${cell}`, { style: note, xPt: page.leftPt, yPt: sheet.yPt + 1 })
    drawRow(sheet, letters, { yPt: sheet.yPt, heightPt, columnPt })
    sheet.yPt += rowPt
  })
  drawAxis(sheet, strip)
  drawKey(sheet)
  if (per > 1) sheet.paragraph(`Each column stands for ${per} frames and shows the strictest.`, { style: note })
}
