// The syntax of templates: literals, `{field}`, `{field:2}`, `{field:6d}`, `{field:d}`, and braces written doubled.
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'

/** Fields that a template may name; `_` is read and left out of the identity, and is the only one that may stand more than once. */
const fieldNames = ['design', 'print', 'serial', '_'] as const
export type FieldName = (typeof fieldNames)[number]

export interface Field {
  readonly name: FieldName
  /** Digits 0 to 9 alone; otherwise any character that a field may hold. */
  readonly digits: boolean
  /** Exact number of characters; absent in a field that runs to the next literal. */
  readonly width?: number
  /** Where its brace stands in the template, from 1. */
  readonly column: number
}

/** Literal text, or a field. Two literals never stand side by side: `{job}` and doubled braces are merged into them. */
export type Piece = string | Field

const placeholder = /^([a-z_]+)(?::([1-9][0-9]{0,2})?(d)?)?$/

/** Reads a template. Problems `template-syntax` and `template-field`, which name the column (from 1). */
export function parseTemplate(template: string, job: string): readonly Piece[] {
  checkText(template)
  const pieces: Piece[] = []
  let literal = ''
  for (let at = 0; at < template.length; ) {
    const token = readToken({ template, at, job })
    at = token.end
    if (typeof token.piece === 'string') {
      literal += token.piece
      continue
    }
    if (literal !== '') pieces.push(literal)
    literal = ''
    pieces.push(token.piece)
  }
  if (literal !== '') pieces.push(literal)
  checkFields(pieces.filter((piece) => typeof piece !== 'string'))
  return pieces
}

function readToken({ template, at, job }: { template: string; at: number; job: string }): {
  piece: Piece
  end: number
} {
  const char = template.charAt(at)
  if (char !== '{' && char !== '}') return { piece: char, end: at + 1 }
  if (template.charAt(at + 1) === char) return { piece: char, end: at + 2 }
  if (char === '}') throw syntax(at + 1, 'a closing brace without an opening one; a literal brace is written doubled')
  const close = template.indexOf('}', at)
  if (close < 0) throw syntax(at + 1, 'this brace is never closed; a literal brace is written doubled')
  const inside = template.slice(at + 1, close)
  return { piece: inside === 'job' ? job : readField(inside, at + 1), end: close + 1 }
}

function readField(inside: string, column: number): Field {
  const parts = placeholder.exec(inside)
  if (!parts || inside.endsWith(':')) {
    throw syntax(column, `{${inside}} is not a field; write {name}, {name:2}, {name:6d} or {name:d}`)
  }
  const [, name = '', width, digits] = parts
  if (name === 'job') throw misused(column, '{job} stands for the job’s own name and takes no width')
  if (!isFieldName(name)) throw misused(column, `{${name}} is unknown; fields are job, ${fieldNames.join(', ')}`)
  const shape = { name, digits: digits === 'd', column }
  return width === undefined ? shape : { ...shape, width: Number(width) }
}

const isFieldName = (name: string): name is FieldName => (fieldNames as readonly string[]).includes(name)

function checkText(template: string): void {
  if (template.length > limits.templateTextMax) {
    throw syntax(limits.templateTextMax + 1, `templates have at most ${limits.templateTextMax} characters`)
  }
  if (/\p{Surrogate}/u.test(template)) throw syntax(1, 'the template holds half of a surrogate pair')
}

function checkFields(fields: readonly Field[]): void {
  const surplus = fields[limits.templateFieldsMax]
  if (surplus) throw misused(surplus.column, `templates have at most ${limits.templateFieldsMax} fields`)
  const seen = new Map<FieldName, number>()
  for (const { name, column } of fields) {
    const first = seen.get(name)
    if (first !== undefined && name !== '_') {
      throw misused(column, `{${name}} stands here and at column ${first}; a field may stand once`)
    }
    seen.set(name, column)
  }
  if (!seen.has('design')) throw misused(1, 'the template has no {design}')
}

function syntax(column: number, what: string): Problem {
  return new Problem('template-syntax', `template, column ${column}: ${what}`)
}

function misused(column: number, what: string): Problem {
  return new Problem('template-field', `template, column ${column}: ${what}`)
}
