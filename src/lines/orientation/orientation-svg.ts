// The drawing of an orientation: the roll on the unwinder and the first frame as the sensor sees it, to be held against the real thing.
import type { ManifestFrame } from '../../packages/index.ts'
import { type FrameToDraw, frameDrawing } from './frame-drawing.ts'
import type { Orientation } from './orientation.ts'
import { rollDrawing, rollDrawingHeight } from './roll-drawing.ts'
import { escapeXml, styleSvg, textSvg, wrapped } from './svg-parts.ts'
import { orientationWords } from './words.ts'

export interface DrawingOrder {
  readonly orientation: Orientation
  readonly frame: FrameToDraw & Pick<ManifestFrame, 'cells'>
  /** Names to write on it; any text. */
  readonly ticket: string
  readonly roll: string
  readonly line: string
}

const width = 860
const headPx = 44
const wordsAt = { x: 540, charsMax: 42, linePx: 18 }

// What to check, a numbered sentence each.
function checkList(words: readonly string[]): { svg: string; heightPx: number } {
  let y = 22
  const parts = [textSvg('Check at the unwinder', { x: wordsAt.x, y, class: 'ink strong' })]
  y += 8
  for (const [i, sentence] of words.entries()) {
    y += 8
    for (const [line, text] of wrapped(sentence, wordsAt.charsMax).entries()) {
      y += wordsAt.linePx
      if (line === 0) parts.push(textSvg(String(i + 1), { x: wordsAt.x, y, class: 'travel strong' }))
      parts.push(textSvg(text, { x: wordsAt.x + 18, y }))
    }
  }
  return { svg: parts.join('\n'), heightPx: y + 20 }
}

/** One SVG document with nothing from elsewhere; all given text is escaped. */
export function orientationSvg({ orientation, frame, ticket, roll, line }: DrawingOrder): string {
  const words = orientationWords(orientation, { frameCells: frame.cells.length })
  const slit = orientation.cells.length < frame.cells.length
  const picture = frameDrawing(orientation, { frame, slit })
  const list = checkList(words)
  const height = Math.ceil(headPx + rollDrawingHeight + 16 + Math.max(picture.heightPx, list.heightPx))
  const title = `Roll ${roll} of ticket ${ticket} on line ${line}`
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" width="${width}" height="${height}" viewBox="0 0 ${width} ${height}" role="img" aria-labelledby="orientation-title orientation-words">`,
    `<title id="orientation-title">${escapeXml(title)}</title>`,
    `<desc id="orientation-words">${escapeXml(words.join(' '))}</desc>`,
    styleSvg,
    `<rect class="paper" width="${width}" height="${height}"/>`,
    textSvg(title, { x: 40, y: 32, class: 'ink strong', sizePx: 17 }),
    `<g transform="translate(0 ${headPx})">${rollDrawing(orientation, roll)}</g>`,
    `<g transform="translate(0 ${headPx + rollDrawingHeight + 16})">${picture.svg}\n${list.svg}</g>`,
    '</svg>\n',
  ].join('\n')
}
