// Named acts: who did it and why goes into the record, so both are required and bounded.
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'

export interface Person {
  readonly by: string
  readonly why: string
  /** The second person where policy asks for one, and the keys that they acted with. */
  readonly second?: string | undefined
  readonly key?: string | undefined
  readonly secondKey?: string | undefined
}

function requireText(text: string, { field, lengthMax }: { field: string; lengthMax: number }): void {
  if (text.trim() === '' || text.length > lengthMax) {
    throw new Problem('bad-request', `"${field}" is needed: 1 to ${lengthMax} characters`, {
      pointer: `/${field}`,
      measured: text.length,
      limit: lengthMax,
    })
  }
}

export const requireName = (by: string): void => requireText(by, { field: 'by', lengthMax: limits.nameLengthMax })

/** Problem `bad-request` unless name and reason are there. */
export function requirePerson({ by, why, second }: Person): void {
  requireName(by)
  if (second !== undefined) requireText(second, { field: 'second', lengthMax: limits.nameLengthMax })
  requireText(why, { field: 'why', lengthMax: limits.reasonLengthMax })
}
