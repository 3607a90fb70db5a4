// The plan of a template: its fields in runs between literals, ready to match in one way only.
//
// The rule of reading: fields of fixed width before the open field of a run are cut from the left; the run then reaches to the FIRST
// occurrence of the next literal at or after the open field's start (or to the end of the text), and fields of fixed width after the
// open field are cut from there backwards. With at most one open field in a run, each step has one outcome, so a text has at most
// one reading; with two, a text of equal digits one longer than the shortest always has two. So counting open fields decides
// ambiguity exactly (tests/properties/template.test.ts tries every small template on every short text).
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { type Literal, toLiteral } from './literal-search.ts'
import { twoReadings } from './template-ambiguity.ts'
import type { Field, Piece } from './template-syntax.ts'

export type FixedField = Field & { readonly width: number }

/** Fields that stand side by side, up to the literal `until`; an empty one is the end of the text. */
export interface Run {
  readonly before: readonly FixedField[]
  /** The one field without a width, if the run has one. */
  readonly open?: Field
  readonly after: readonly FixedField[]
  readonly afterWidth: number
  readonly until: Literal
}

export interface Plan {
  /** What the text begins with; may be empty. */
  readonly head: Literal
  readonly runs: readonly Run[]
}

/** Problems `template-ambiguous`, and `template-syntax` where even the shortest text is longer than a code may be. */
export function planTemplate(pieces: readonly Piece[]): Plan {
  checkLength(pieces)
  const head = typeof pieces[0] === 'string' ? pieces[0] : ''
  const runs: Run[] = []
  let fields: Field[] = []
  const rest = pieces.slice(head === '' ? 0 : 1)
  rest.forEach((piece, index) => {
    if (typeof piece !== 'string') fields.push(piece)
    else {
      runs.push(toRun({ fields, until: piece, pieces }))
      fields = []
    }
    if (index === rest.length - 1 && fields.length > 0) runs.push(toRun({ fields, until: '', pieces }))
  })
  return { head: toLiteral(head), runs }
}

function toRun(input: { fields: readonly Field[]; until: string; pieces: readonly Piece[] }): Run {
  const { fields, until, pieces } = input
  const [open, second] = fields.filter((field) => !isFixed(field))
  if (open && second) throw ambiguous({ pieces, open, second })
  const split = open ? fields.indexOf(open) : fields.length
  const after = fields.slice(split + 1).filter(isFixed)
  return {
    before: fields.slice(0, split).filter(isFixed),
    ...(open ? { open } : {}),
    after,
    afterWidth: after.reduce((sum, field) => sum + field.width, 0),
    until: toLiteral(until),
  }
}

const isFixed = (field: Field): field is FixedField => field.width !== undefined

function ambiguous(clash: { pieces: readonly Piece[]; open: Field; second: Field }): Problem {
  const { text, readings } = twoReadings(clash)
  const where = `column ${clash.second.column}`
  const why = `nothing tells where {${clash.open.name}} of column ${clash.open.column} ends and {${clash.second.name}} begins`
  return new Problem(
    'template-ambiguous',
    `template, ${where}: ${why}: “${text}” is ${readings.join(' or ')}; put a literal between them or give one a width`,
  )
}

function checkLength(pieces: readonly Piece[]): void {
  const least = pieces.reduce(
    (sum, piece) => sum + (typeof piece === 'string' ? Buffer.byteLength(piece) : (piece.width ?? 1)),
    0,
  )
  if (least > limits.codeBytesMax) {
    const what = `the shortest text of this template has ${least} bytes; codes have at most ${limits.codeBytesMax}`
    throw new Problem('template-syntax', `template, column 1: ${what}`, { measured: least, limit: limits.codeBytesMax })
  }
}
