// Problem details (RFC 9457) as a schema, for the OpenAPI document.
import * as z from 'zod'
import { type ProblemCode, problemTable } from '../kernel/problem.ts'

const code = z.enum(Object.keys(problemTable) as [ProblemCode, ...ProblemCode[]])
const place = {
  file: z.string().optional(),
  pointer: z.string().optional().meta({ description: 'RFC 6901 JSON pointer' }),
  row: z.int().optional(),
  measured: z.union([z.string(), z.number()]).optional(),
  limit: z.union([z.string(), z.number()]).optional(),
}

export const findingSchema = z.object({ code, message: z.string(), ...place }).meta({ id: 'Finding' })

export const problemDetailsSchema = z
  .object({
    type: z.string(),
    title: z.string(),
    status: z.int(),
    code,
    detail: z.string(),
    retry: z.enum(['never', 'later', 'after-mending']),
    instance: z.string().optional(),
    ...place,
    findings: z.array(findingSchema).optional(),
  })
  .meta({ id: 'Problem' })
