// A witness for an ambiguous template: one text, and two ways to read it.
import type { Field, Piece } from './template-syntax.ts'

/** `open` and `second` are two fields without a width in one run. */
export function twoReadings(clash: { pieces: readonly Piece[]; open: Field; second: Field }): {
  text: string
  readings: readonly string[]
} {
  const longFirst = spell(clash.pieces, clash.open)
  const longSecond = spell(clash.pieces, clash.second)
  return { text: longFirst.text, readings: [longFirst.reading, longSecond.reading] }
}

/** The shortest text in which the field `long` has one character more than the least. */
function spell(pieces: readonly Piece[], long: Field): { text: string; reading: string } {
  let text = ''
  const named: string[] = []
  pieces.forEach((piece, index) => {
    if (typeof piece === 'string') {
      text += piece
      return
    }
    const value = fillDigit(pieces.slice(index)).repeat((piece.width ?? 1) + (piece === long ? 1 : 0))
    text += value
    if (piece.name !== '_' || piece === long) named.push(`${piece.name} “${value}”`)
  })
  return { text, reading: named.join(', ') }
}

/** A digit that the next literal does not begin with, so that the literal can't be found early. */
function fillDigit(rest: readonly Piece[]): string {
  const next = rest.find((piece) => typeof piece === 'string')
  return next?.startsWith('1') ? '2' : '1'
}
