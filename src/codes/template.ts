// The template rule: from `{job}-{design}.{print:2}/{serial:6d}` to a matcher that reads each text in one way and in linear time.
import type { SymbologyName } from '../kernel/terms.ts'
import type { CodeIdentity, Rule } from './rule.ts'
import { matchPlan } from './template-match.ts'
import { fitsCode, whyUnnameable } from './template-names.ts'
import { planTemplate } from './template-plan.ts'
import { parseTemplate } from './template-syntax.ts'

/**
 * Compiles a template. `{job}` is the job's own name; `{design}` (required), `{print}`, `{serial}` and the ignored `{_}` are fields:
 * `{x:2}` is exactly two characters, `{x:6d}` exactly six digits, `{x:d}` digits up to the next literal, `{x}` anything up to the
 * next literal's first occurrence. Fields are never empty and hold neither control characters nor characters beyond the
 * Basic Multilingual Plane. Texts over `limits.codeBytesMax` bytes match nothing.
 * Problems: `template-syntax`, `template-field`, `template-ambiguous`; each names the column.
 */
export function compileTemplate(
  template: string,
  { job, symbologies }: { readonly job: string; readonly symbologies: readonly SymbologyName[] },
): Rule {
  const pieces = parseTemplate(template, job)
  const plan = planTemplate(pieces)
  const carried = new Set(pieces.map((piece) => (typeof piece === 'string' ? '' : piece.name)))
  return {
    symbologies,
    carries: { print: carried.has('print'), serial: carried.has('serial') },
    match: (text) => (fitsCode(text) ? (matchPlan(plan, text) as CodeIdentity | undefined) : undefined),
    canName: (named) => whyUnnameable({ pieces, plan, named }),
  }
}
