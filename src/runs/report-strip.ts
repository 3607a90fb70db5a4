// The roll as a strip: a row a cell, a column a frame (or several frames of a long roll), in colours that also differ in lightness.
import { esc } from './html.ts'
import type { RunReport } from './report.ts'
import type { StripColumn } from './report-strip-table.ts'

interface Tone {
  readonly fill: string
  readonly word: string
}

const tones: Readonly<Record<string, Tone>> = {
  l: { fill: '#3f7d58', word: 'lay' },
  u: { fill: '#a9cdb6', word: 'set-up' },
  s: { fill: '#e8bd4a', word: 'skip' },
  r: { fill: '#c9792b', word: 'revoked' },
  x: { fill: '#8c1414', word: 'stop' },
}
// The strictest of a column's letters shows.
const rank = 'xrsul'
const worst = (letters: string): string => [...rank].find((letter) => letters.includes(letter)) ?? ' '

const columnsMax = 600
const widthPx = 1_000
const leftPx = 78
const rowPx = 22

type Cells = RunReport['cells']

function framesOf(bin: readonly StripColumn[]): string {
  const [first, last] = [bin[0]?.frame, bin.at(-1)?.frame]
  return first === last ? `frame ${first}` : `frames ${first} to ${last}`
}

function binRects(bin: readonly StripColumn[], at: { xPx: number; wide: number }, cells: Cells): string {
  const rects = cells.map(({ cell }, ordinal) => {
    const tone = tones[worst(bin.map((column) => column.cells[ordinal] ?? ' ').join(''))]
    if (!tone) return ''
    const place = `x="${at.xPx.toFixed(2)}" y="${ordinal * rowPx}" width="${Math.max(at.wide - 0.3, 0.4).toFixed(2)}" height="20"`
    return `<rect ${place} fill="${tone.fill}"><title>${framesOf(bin)}, cell ${cell}: ${tone.word}</title></rect>`
  })
  return rects.join('')
}

const metres = (column: StripColumn | undefined): string => ((column?.positionMm ?? 0) / 1000).toFixed(1)

// Where the roll begins, its middle and its end, by frame and encoder.
function axis(strip: readonly StripColumn[], yPx: number): string {
  const marks = [
    { column: strip[0], xPx: leftPx, anchor: 'start' },
    { column: strip[Math.floor(strip.length / 2)], xPx: (leftPx + widthPx) / 2, anchor: 'middle' },
    { column: strip.at(-1), xPx: widthPx, anchor: 'end' },
  ]
  return marks
    .slice(0, strip.length > 2 ? 3 : 1)
    .map(
      ({ column, xPx, anchor }) =>
        `<text x="${xPx}" y="${yPx}" text-anchor="${anchor}">frame ${column?.frame}, ${metres(column)} m</text>`,
    )
    .join('')
}

/** The strip with its key; a sentence where no frame was recorded. */
export function stripHtml({ strip, cells }: Pick<RunReport, 'strip' | 'cells'>): string {
  if (strip.length === 0) return '<p>No frame was recorded.</p>'
  const per = Math.ceil(strip.length / columnsMax)
  const bins = Array.from({ length: Math.ceil(strip.length / per) }, (_, i) => strip.slice(i * per, (i + 1) * per))
  const wide = (widthPx - leftPx) / bins.length
  const rects = bins.map((bin, i) => binRects(bin, { xPx: leftPx + i * wide, wide }, cells))
  const names = cells.map(
    ({ cell, lane }, ordinal) => `<text x="0" y="${ordinal * rowPx + 15}">lane ${lane}, cell ${cell}</text>`,
  )
  const heightPx = cells.length * rowPx + 18
  const key = Object.values(tones).map(
    ({ fill, word }) => `<span><i style="background:${fill}"></i>${esc(word)}</span>`,
  )
  const note = per > 1 ? ` Each column stands for ${per} frames and shows the strictest.` : ''
  return `<svg viewBox="0 0 ${widthPx} ${heightPx}" role="img" aria-label="The roll as a strip, first frame at the left">
${names.join('')}${rects.join('')}${axis(strip, heightPx - 4)}</svg>
<p class="key">${key.join('')}${note}</p>`
}
