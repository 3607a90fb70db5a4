// Finding a literal in a text in linear time (Knuth, Morris and Pratt), whatever the two are.

/** What the matcher needs of a text; a string is one. */
export interface CodeUnits {
  readonly length: number
  charCodeAt(index: number): number
  slice(start: number, end: number): string
}

export interface Literal {
  readonly text: string
  /** For each prefix, the length of its longest proper suffix that is a prefix too. */
  readonly borders: readonly number[]
}

export function toLiteral(text: string): Literal {
  const borders = [0]
  for (let index = 1, border = 0; index < text.length; index++) {
    while (border > 0 && text[index] !== text[border]) border = borders[border - 1] ?? 0
    if (text[index] === text[border]) border++
    borders.push(border)
  }
  return { text, borders }
}

/** The first index at or after `from` where the literal stands, or −1. Reads each code unit of the text once. */
export function findLiteral(text: CodeUnits, literal: Literal, from: number): number {
  const { text: wanted, borders } = literal
  if (wanted.length === 0) return from
  let matched = 0
  for (let at = from; at < text.length; at++) {
    const unit = text.charCodeAt(at)
    while (matched > 0 && unit !== wanted.charCodeAt(matched)) matched = borders[matched - 1] ?? 0
    if (unit === wanted.charCodeAt(matched)) matched++
    if (matched === wanted.length) return at - wanted.length + 1
  }
  return -1
}

export function standsAt(text: CodeUnits, literal: Literal, at: number): boolean {
  const { text: wanted } = literal
  if (at + wanted.length > text.length) return false
  for (let index = 0; index < wanted.length; index++) {
    if (text.charCodeAt(at + index) !== wanted.charCodeAt(index)) return false
  }
  return true
}
