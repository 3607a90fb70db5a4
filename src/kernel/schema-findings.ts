// What a schema refuses, as findings for a person: one for each mistake, with its JSON pointer, in plain words.
import type * as z from 'zod'
import type { Finding, ProblemCode } from './problem.ts'

type Issue = z.core.$ZodIssue

const token = (step: PropertyKey): string => `/${String(step).replaceAll('~', '~0').replaceAll('/', '~1')}`

/** RFC 6901 pointer to a path of keys. */
export const pointerTo = (path: readonly PropertyKey[]): string => path.map(token).join('')

function valueAt(value: unknown, path: readonly PropertyKey[]): unknown {
  let at: unknown = value
  for (const step of path) {
    if (typeof at !== 'object' || at === null || !Object.hasOwn(at, step)) return undefined
    at = (at as Record<PropertyKey, unknown>)[step]
  }
  return at
}

const measuredMax = 80

// What stands there, where it is short enough to be said: a number, a word, how many.
function measuredOf(found: unknown): Pick<Finding, 'measured'> {
  if (typeof found === 'number') return { measured: found }
  if (typeof found === 'string') return { measured: found.slice(0, measuredMax) }
  if (typeof found === 'boolean') return { measured: String(found) }
  return Array.isArray(found) ? { measured: found.length } : {}
}

function limitOf(issue: Issue): Pick<Finding, 'limit'> {
  if (issue.code === 'too_small') return { limit: Number(issue.minimum) }
  if (issue.code === 'too_big') return { limit: Number(issue.maximum) }
  return issue.code === 'invalid_value' ? { limit: issue.values.map(String).join(', ') } : {}
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
    const found = valueAt(value, issue.path)
    const pointer = pointerTo(issue.path)
    if (issue.code !== 'custom' && issue.path.length > 0 && found === undefined)
      return [{ code, message: 'is missing', pointer, ...limitOf(issue) }]
    const message = issue.message.replace(/^(Invalid (input|option)|Too (small|big)): /, '')
    return [{ code, message, pointer, ...(issue.code === 'custom' ? {} : measuredOf(found)), ...limitOf(issue) }]
  })
}

/** The first finding in one line, and how many more there are. */
export function firstOf(findings: readonly Finding[]): string {
  const [first] = findings
  const more = findings.length > 1 ? ` (and ${findings.length - 1} more)` : ''
  return `${first?.pointer || '/'} ${first?.message ?? ''}${more}`
}
