// What the schemas of the wire are made of: counts, positions, texts that the ledger can hold; mm to µm and back.
import * as z from 'zod'
import { digestPattern } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'

export const count = z.int().min(0).max(Number.MAX_SAFE_INTEGER)
export const positionMm = z.number().min(-limits.positionMmMax).max(limits.positionMmMax)
export const digest = z.string().regex(digestPattern)

/** Well-formed Unicode only: the ledger's canonical JSON can't hold a lone surrogate. */
export const wellFormed = (text: z.ZodString) => text.refine((value) => value.isWellFormed(), 'has a lone surrogate')
export const textUpTo = (lengthMax: number) => wellFormed(z.string().max(lengthMax))
export const codeText = textUpTo(limits.codeBytesMax * 4)

export const toUm = (mm: number): number => Math.round(mm * 1000)
export const toMm = (um: number): number => um / 1000
