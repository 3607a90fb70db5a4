// What is wrong with a GS1 text, and where: a value, since texts come from labels and a wrong one is an everyday event.
import type { setRules } from './character-sets.ts'
import type { LinterName } from './linters.ts'

/**
 * Which rule a text breaks. The names of the dictionary's checks; the names of its character sets; `length`, `req` (an AI that must
 * stand beside this one), `ex` (an AI that may not) and `repeat`; the rest are rules of the syntax.
 */
export type Gs1RuleName =
  | LinterName
  | (typeof setRules)[keyof typeof setRules]
  | 'length'
  | 'req'
  | 'ex'
  | 'repeat'
  | 'text-bytes'
  | 'empty'
  | 'identifier'
  | 'plain-data'
  | 'ai'
  | 'separator'
  | 'bracket'
  | 'scheme'
  | 'host'
  | 'uri-character'
  | 'percent'
  | 'key'
  | 'qualifier'
  | 'attribute'
  | 'delimiter'

export interface Gs1Fault {
  readonly ai?: string
  /** Offset in the text, from 0, in UTF-16 code units. */
  readonly position: number
  readonly rule: Gs1RuleName
  readonly message: string
  readonly measured?: string | number
  readonly limit?: string | number
}
