// What the schemas of the wire are made of: counts, positions, texts that the ledger can hold. Runs in browsers too.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'

export const count = z.int().min(0).max(Number.MAX_SAFE_INTEGER)
export const positionMm = z.number().min(-limits.positionMmMax).max(limits.positionMmMax)
export const digest = z.string().regex(/^[0-9a-f]{64}$/)

/** Well-formed Unicode only: the ledger's canonical JSON can't hold a lone surrogate. */
export const wellFormed = (text: z.ZodString) => text.refine((value) => value.isWellFormed(), 'has a lone surrogate')
export const textUpTo = (lengthMax: number) => wellFormed(z.string().max(lengthMax))
export const codeText = textUpTo(limits.codeBytesMax * 4)
