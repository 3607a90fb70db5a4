// Pieces of the drawing: escaped text, arrows, the look in light and dark. Plain SVG 1.1, nothing from elsewhere.

const escapes: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
}

// XML 1.0 §2.2 has no place for most control characters, not even escaped.
const unfit = /[^\t\n\r\u{20}-\u{d7ff}\u{e000}-\u{fffd}\u{10000}-\u{10ffff}]/gu

/** Text for an element or a quoted attribute. */
export const escapeXml = (text: string): string =>
  text.replaceAll(unfit, '\u{fffd}').replaceAll(/[&<>"']/g, (char) => escapes[char] ?? char)

/** A length in the drawing: two decimals are a hundredth of a pixel. */
export const px = (value: number): string => String(Math.round(value * 100) / 100)

export interface TextAt {
  readonly x: number
  readonly y: number
  readonly class?: string
  readonly anchor?: 'start' | 'middle' | 'end'
  readonly sizePx?: number
}

export function textSvg(text: string, { x, y, class: name = 'ink', anchor = 'start', sizePx = 13 }: TextAt): string {
  const at = `x="${px(x)}" y="${px(y)}" text-anchor="${anchor}" font-size="${px(sizePx)}"`
  return `<text class="${name}" ${at}>${escapeXml(text)}</text>`
}

/** Breaks a sentence into lines of at most so many characters, at blanks. */
export function wrapped(text: string, charsMax: number): readonly string[] {
  const lines: string[] = []
  for (const word of text.split(' ')) {
    const last = lines.at(-1)
    if (last !== undefined && last.length + 1 + word.length <= charsMax) lines[lines.length - 1] = `${last} ${word}`
    else lines.push(word)
  }
  return lines
}

/** A straight arrow. */
export function arrowSvg(from: { x: number; y: number }, to: { x: number; y: number }): string {
  const length = Math.hypot(to.x - from.x, to.y - from.y)
  const [ux, uy] = [(to.x - from.x) / length, (to.y - from.y) / length]
  const back = { x: to.x - 11 * ux, y: to.y - 11 * uy }
  const barb = (side: 1 | -1): string => `${px(back.x - side * 5 * uy)},${px(back.y + side * 5 * ux)}`
  return (
    `<line class="arrow" x1="${px(from.x)}" y1="${px(from.y)}" x2="${px(back.x)}" y2="${px(back.y)}"/>` +
    `<polygon class="head" points="${px(to.x)},${px(to.y)} ${barb(1)} ${barb(-1)}"/>`
  )
}

interface Look {
  readonly paper: string
  readonly ink: string
  readonly soft: string
  readonly web: string
  readonly label: string
  readonly print: string
  readonly arrow: string
}

const light: Look = {
  paper: '#fdfdfb',
  ink: '#20242b',
  soft: '#5d6570',
  web: '#e6e8e4',
  label: '#ffffff',
  print: '#7a2e8e',
  arrow: '#0b6b50',
}
const dark: Look = {
  paper: '#17191d',
  ink: '#eceef0',
  soft: '#a4acb6',
  web: '#2d3238',
  label: '#3a4049',
  print: '#d79be6',
  arrow: '#6fd0ae',
}

const rules = ({ paper, ink, soft, web, label, print, arrow }: Look): string =>
  [
    `.paper{fill:${paper}}`,
    `.ink,.glyph{fill:${ink}}`,
    `.soft{fill:${soft}}`,
    `.web{fill:${web};stroke:${soft}}`,
    `.cut{fill:${web};fill-opacity:.45;stroke:${soft};stroke-dasharray:4 3}`,
    `.roll{fill:${web};stroke:${ink}}`,
    `.lap{fill:none;stroke:${soft};stroke-width:.7}`,
    `.core{fill:${paper};stroke:${ink}}`,
    `.base{stroke:${ink};stroke-width:2;fill:none}`,
    `.print{stroke:${print};stroke-width:3;fill:none}`,
    `.printed{fill:${print}}`,
    `.cell{fill:${label};stroke:${ink}}`,
    `.code{fill:none;stroke:${ink};stroke-width:1.2}`,
    `.mark{fill:${ink}}`,
    `.sensor{fill:${paper};stroke:${ink};stroke-width:1.5}`,
    `.ray{stroke:${soft};stroke-dasharray:2 2}`,
    `.arrow{stroke:${arrow};stroke-width:3;fill:none}`,
    `.head,.travel{fill:${arrow}}`,
  ].join('')

export const styleSvg = `<style>text{font-family:system-ui,"DejaVu Sans",sans-serif}.strong{font-weight:600}${rules(light)}@media (prefers-color-scheme:dark){${rules(dark)}}</style>`
