// The parts of a document that fit its schema, each where it stands, so that what they say can be checked beside what does not fit.
import type * as z from 'zod'

type Holes<T> = readonly (T | undefined)[]

/** Each key's value where it is sound by itself, absent where not. */
export type SoundParts<T> = { readonly [K in keyof T]?: T[K] | undefined }

/** Reads each key of an object by its own schema. */
export function soundParts<S extends z.ZodObject>(schema: S, value: unknown): SoundParts<z.output<S>> {
  if (typeof value !== 'object' || value === null) return {}
  const found = Object.entries(schema.shape).flatMap(([key, of]): [string, unknown][] => {
    if (!Object.hasOwn(value, key)) return []
    const parsed = (of as z.ZodType).safeParse((value as Record<string, unknown>)[key])
    return parsed.success ? [[key, parsed.data]] : []
  })
  return Object.fromEntries(found) as SoundParts<z.output<S>>
}

const rowsMax = 1_024

/** Reads each row of an array by itself; a hole stands for one that does not fit. */
export function soundRows<S extends z.ZodType>(schema: S, value: unknown): Holes<z.output<S>> {
  if (!Array.isArray(value)) return []
  return value.slice(0, rowsMax).map((row) => {
    const parsed = schema.safeParse(row)
    return parsed.success ? parsed.data : undefined
  })
}
