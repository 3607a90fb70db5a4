// Whether a template has a text that names a given design and print version.

import { limits } from '../kernel/limits.ts'
import { type FieldValues, isDigit, isFieldUnit, matchPlan } from './template-match.ts'
import type { Plan } from './template-plan.ts'
import type { Field, Piece } from './template-syntax.ts'

export interface Named {
  readonly design: string
  readonly print?: string
}

/**
 * A reason where no text names it. Spells shortest texts and matches them, so what passes can be named. It may refuse what could
 * be named only where a literal holds all ten digits and stands after a digit field that isn't the first of its run.
 */
export function whyUnnameable(input: { pieces: readonly Piece[]; plan: Plan; named: Named }): string | undefined {
  const { pieces, plan, named } = input
  const known = new Map<string, string>(Object.entries(named))
  for (const piece of pieces) {
    const value = typeof piece === 'string' ? undefined : known.get(piece.name)
    const reason = typeof piece === 'string' || value === undefined ? undefined : whyUnfit(piece, value)
    if (reason) return reason
  }
  const other = unusedChar(pieces)
  const textWith = (digit: string): string => spell({ pieces, known, digit, other })
  const names = (text: string): boolean => fitsCode(text) && isNamedBy(matchPlan(plan, text), named)
  if ([...'0123456789'].some((digit) => names(textWith(digit)))) return undefined
  return whyNone({ plan, named, shortest: textWith('0') })
}

export const fitsCode = (text: string): boolean =>
  text.length <= limits.codeBytesMax && Buffer.byteLength(text) <= limits.codeBytesMax

function whyUnfit(field: Field, value: string): string | undefined {
  const what = `${field.name} “${value}”`
  if (value === '') return `an empty ${field.name} matches nothing`
  if (field.width !== undefined && value.length !== field.width) {
    return `${what} has ${value.length} characters where the template takes exactly ${field.width}`
  }
  const units = Array.from({ length: value.length }, (_, index) => value.charCodeAt(index))
  if (field.digits && !units.every(isDigit)) return `${what} is not digits alone`
  if (!units.every(isFieldUnit)) return `${what} holds characters that no field takes`
  return undefined
}

function spell(fill: {
  pieces: readonly Piece[]
  known: ReadonlyMap<string, string>
  digit: string
  other: string
}): string {
  const spelled = fill.pieces.map((piece) => {
    if (typeof piece === 'string') return piece
    return fill.known.get(piece.name) ?? (piece.digits ? fill.digit : fill.other).repeat(piece.width ?? 1)
  })
  return spelled.join('')
}

/** A character that stands in no literal: it can neither make nor lengthen an early occurrence of one. */
function unusedChar(pieces: readonly Piece[]): string {
  const literals = pieces.filter((piece) => typeof piece === 'string').join('')
  let unit = 0x21
  while (!isFieldUnit(unit) || literals.includes(String.fromCharCode(unit))) unit++
  return String.fromCharCode(unit)
}

function isNamedBy(values: FieldValues | undefined, named: Named): boolean {
  if (values?.design !== named.design) return false
  return values.print === undefined || named.print === undefined || values.print === named.print
}

function whyNone({ plan, named, shortest }: { plan: Plan; named: Named; shortest: string }): string {
  if (!fitsCode(shortest)) return `its shortest code would be longer than ${limits.codeBytesMax} bytes`
  for (const run of plan.runs) {
    for (const name of ['design', 'print'] as const) {
      const value = named[name]
      const stands = value !== undefined && [run.open, ...run.after].some((field) => field?.name === name)
      if (stands && run.until.text !== '' && `${value}${run.until.text}`.indexOf(run.until.text) < value.length) {
        return `${name} “${value}” contains or runs into “${run.until.text}”, where the template ends the field`
      }
    }
  }
  return 'its characters and the literals around it would be read as something else'
}
