// What a caller gives to be sent, held against the same schemas as on the other side.
import type * as z from 'zod'
import { Problem } from '../kernel/problem.ts'

/** Problem `bad-request` where something does not fit. */
export function checked<T>(schema: z.ZodType<T>, given: T | readonly T[]): readonly T[] {
  const all: readonly T[] = Array.isArray(given) ? given : [given as T]
  return all.map((one, i) => {
    const parsed = schema.safeParse(one)
    if (parsed.success) return parsed.data
    const [issue] = parsed.error.issues
    throw new Problem('bad-request', issue?.message ?? 'does not fit its schema', {
      pointer: `/${[i, ...(issue?.path ?? [])].map(String).join('/')}`,
    })
  })
}
