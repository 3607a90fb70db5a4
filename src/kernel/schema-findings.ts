// What a schema refuses, as findings for a person: one for each mistake, with its JSON pointer, in plain words.
import type * as z from 'zod'
import type { Finding, ProblemCode } from './problem.ts'

type Issue = z.core.$ZodIssue

const token = (step: PropertyKey): string => `/${String(step).replaceAll('~', '~0').replaceAll('/', '~1')}`

/** RFC 6901 pointer to a path of keys. */
export const pointerTo = (path: readonly PropertyKey[]): string => path.map(token).join('')

function isAbsent(value: unknown, path: readonly PropertyKey[]): boolean {
  let at: unknown = value
  for (const step of path) {
    if (typeof at !== 'object' || at === null || !Object.hasOwn(at, step)) return true
    at = (at as Record<PropertyKey, unknown>)[step]
  }
  return at === undefined
}

// Of a union the branch that the value was meant for: the first whose outermost type fits.
function meantIssues(issue: Issue): readonly Issue[] {
  if (issue.code !== 'invalid_union') return [issue]
  const branches = issue.errors
  const meant = branches.find(
    (branch) => !branch.some(({ code, path }) => code === 'invalid_type' && path.length === 0),
  )
  if (!meant) return [issue]
  return meant.flatMap((inner) => meantIssues({ ...inner, path: [...issue.path, ...inner.path] }))
}

/** All that a schema refused in `value`, each with `code`; `[]` never, since a refusal has a cause. */
export function schemaFindings(error: z.ZodError, value: unknown, code: ProblemCode): readonly Finding[] {
  return error.issues.flatMap(meantIssues).flatMap((issue): Finding[] => {
    if (issue.code === 'unrecognized_keys') {
      return issue.keys.map((key) => ({
        code,
        message: `the schema knows no ${JSON.stringify(key.slice(0, 80))} here`,
        pointer: pointerTo([...issue.path, key.slice(0, 80)]),
      }))
    }
    const absent = issue.code !== 'custom' && issue.path.length > 0 && isAbsent(value, issue.path)
    const message = absent ? 'is missing' : issue.message.replace(/^(Invalid (input|option)|Too (small|big)): /, '')
    return [{ code, message, pointer: pointerTo(issue.path) }]
  })
}

/** The first finding in one line, and how many more there are. */
export function firstOf(findings: readonly Finding[]): string {
  const [first] = findings
  const more = findings.length > 1 ? ` (and ${findings.length - 1} more)` : ''
  return `${first?.pointer || '/'} ${first?.message ?? ''}${more}`
}
