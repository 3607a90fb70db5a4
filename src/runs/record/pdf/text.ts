// Text as the record shows it: nothing in it may move, hide or reorder what stands around it, and every line fits its column.

/** How wide a text is. */
export type Measure = (text: string) => number

/** Controls, and characters that reorder or hide text (Unicode bidirectional and zero-width format characters, tags). */
const unsafe = /[\p{Cc}\p{Cs}\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\u{e0000}-\u{e007f}]/gu

const escaped = (char: string): string => `\\u{${(char.codePointAt(0) ?? 0).toString(16).toUpperCase()}}`

/**
 * One line of plain text. What could reorder or hide other text, and what the font has no sign for, stands as its code point, such as
 * `\u{202E}`: the reader sees that it is there. Line ends and tabs become spaces.
 */
export function plainText(text: string, hasSign: (codePoint: number) => boolean): string {
  const safe = text.replaceAll(/[\t\n\r]+/g, ' ').replaceAll(unsafe, escaped)
  return Array.from(safe, (char) => (hasSign(char.codePointAt(0) ?? 0) ? char : escaped(char))).join('')
}

/** Pieces that a line may be broken between: behind spaces, and behind signs that part codes. */
const pieces = (text: string): string[] => text.match(/[^\s/_|;,-]*[\s/_|;,-]+|[^\s/_|;,-]+/g) ?? []

/** As many characters as fit, at least one. Never between a sign and its combining marks. */
function fitting(text: string, { widthPt, measure }: { widthPt: number; measure: Measure }): string {
  let fits = ''
  for (const cluster of text.match(/\P{M}\p{M}*|\p{M}+/gu) ?? []) {
    if (fits !== '' && measure(fits + cluster) > widthPt) break
    fits += cluster
  }
  return fits
}

export interface WrapInto {
  readonly widthPt: number
  readonly measure: Measure
  readonly linesMax: number
}

/** Lines that fit a width; what goes beyond `linesMax` is cut and ends with an ellipsis. */
export function wrapText(text: string, { widthPt, measure, linesMax }: WrapInto): string[] {
  const lines: string[] = []
  let line = ''
  const end = (): void => {
    lines.push(line.trimEnd())
    line = ''
  }
  for (const piece of pieces(text)) {
    let left = piece
    if (line !== '' && measure((line + left).trimEnd()) > widthPt) end()
    while (measure(left.trimEnd()) > widthPt && lines.length <= linesMax) {
      line = fitting(left, { widthPt, measure })
      left = left.slice(line.length)
      end()
    }
    line += left
    if (lines.length > linesMax) break
  }
  if (line.trim() !== '' || lines.length === 0) end()
  if (lines.length <= linesMax) return lines
  const last = lines[linesMax - 1] ?? ''
  const cut = fitting(last, { widthPt: widthPt - measure('…'), measure })
  return [...lines.slice(0, linesMax - 1), `${cut.trimEnd()}…`]
}
