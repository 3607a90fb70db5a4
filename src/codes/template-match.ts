// Matching a text against a planned template: from left to right, without going back.
import { type CodeUnits, findLiteral, standsAt } from './literal-search.ts'
import type { FixedField, Plan, Run } from './template-plan.ts'
import type { Field, FieldName } from './template-syntax.ts'

export type FieldValues = Partial<Record<FieldName, string>>

/** The values of the fields where the whole text matches, or undefined. Reads no code unit of the text more than three times. */
export function matchPlan(plan: Plan, text: CodeUnits): FieldValues | undefined {
  if (!standsAt(text, plan.head, 0)) return undefined
  const values: FieldValues = {}
  let at = plan.head.text.length
  for (const run of plan.runs) {
    at = matchRun({ run, text, at, values })
    if (at < 0) return undefined
  }
  return at === text.length ? values : undefined
}

interface RunStep {
  readonly run: Run
  readonly text: CodeUnits
  readonly at: number
  readonly values: FieldValues
}

/** Where the run and its literal end; −1 where they don't match. */
function matchRun({ run, text, at, values }: RunStep): number {
  const start = cutFixed({ fields: run.before, text, at, values })
  if (start < 0) return -1
  if (!run.open) return standsAt(text, run.until, start) ? start + run.until.text.length : -1
  const end = run.until.text === '' ? text.length : findLiteral(text, run.until, start)
  const openEnd = end - run.afterWidth
  if (openEnd <= start) return -1
  if (!cut({ field: run.open, text, at: start, end: openEnd, values })) return -1
  if (cutFixed({ fields: run.after, text, at: openEnd, values }) < 0) return -1
  return end + run.until.text.length
}

function cutFixed(step: { fields: readonly FixedField[]; text: CodeUnits; at: number; values: FieldValues }): number {
  let { at } = step
  for (const field of step.fields) {
    const end = at + field.width
    if (!cut({ field, text: step.text, at, end, values: step.values })) return -1
    at = end
  }
  return at
}

function cut(step: { field: Field; text: CodeUnits; at: number; end: number; values: FieldValues }): boolean {
  const { field, text, at, end, values } = step
  if (end > text.length) return false
  for (let index = at; index < end; index++) {
    const unit = text.charCodeAt(index)
    if (field.digits ? !isDigit(unit) : !isFieldUnit(unit)) return false
  }
  if (field.name !== '_') values[field.name] = text.slice(at, end)
  return true
}

export const isDigit = (unit: number): boolean => unit >= 0x30 && unit <= 0x39

/**
 * Fields hold no control characters (a code that has them there was misread, or isn't this job's) and nothing outside the Basic
 * Multilingual Plane, so that a width in characters never cuts a surrogate pair.
 */
export const isFieldUnit = (unit: number): boolean =>
  unit >= 0x20 && !(unit >= 0x7f && unit <= 0x9f) && !(unit >= 0xd800 && unit <= 0xdfff)
