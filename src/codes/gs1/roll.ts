// What a roll's own label says of it: AI 8001.

import { findAi } from './ai-dictionary.ts'
import { valueFault } from './check.ts'
import type { Gs1Element } from './message.ts'

/** A roll product as AI 8001 describes it (General Specifications, 3.9.1). */
export interface RollDimensions {
  readonly widthMm: number
  readonly lengthM: number
  /** Inner diameter of the core. */
  readonly coreMm: number
  /** Which way the face is wound. */
  readonly winding: 'out' | 'in' | 'undefined'
  /** Absent where the label says that they were not counted. */
  readonly splices?: number
}

const windings = { '0': 'out', '1': 'in', '9': 'undefined' } as const

const isWinding = (digit: string): digit is keyof typeof windings => Object.hasOwn(windings, digit)

const splicesUnknown = 9

/** The roll that the elements describe; undefined where they hold no AI 8001, or one that does not hold. */
export function rollFrom8001(elements: readonly Gs1Element[]): RollDimensions | undefined {
  const value = elements.find(({ ai }) => ai === '8001')?.value
  const entry = findAi('8001')
  if (value === undefined || !entry || valueFault(entry, value)) return undefined
  const digits = (from: number, to: number): number => Number(value.slice(from, to))
  const winding = value.charAt(12)
  if (!isWinding(winding)) return undefined
  const splices = digits(13, 14)
  return {
    widthMm: digits(0, 4),
    lengthM: digits(4, 9),
    coreMm: digits(9, 12),
    winding: windings[winding],
    ...(splices === splicesUnknown ? {} : { splices }),
  }
}
