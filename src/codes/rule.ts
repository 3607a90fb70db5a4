// A matching rule, compiled: from a code's text to what it names. Every text must satisfy the rule, or it is not that job's code.
import type { SymbologyName } from '../kernel/terms.ts'

/** What a code names. `print` and `serial` are absent where the rule carries none. */
export interface CodeIdentity {
  readonly design: string
  readonly print?: string
  readonly serial?: string
}

export interface Rule {
  readonly symbologies: readonly SymbologyName[]
  /** Which identities the rule's codes carry. */
  readonly carries: { readonly print: boolean; readonly serial: boolean }
  /**
   * The identity that the whole text names under this rule, or undefined. Linear in the text's length; never throws. The reader's ISO/IEC
   * 15424 identifier, where it gave one, tells GS1 element strings from plain data; other rules pay no heed to it.
   * `cell` is that of the label in question: where a table names a cell with each code, the code matches with its cell only.
   */
  match(text: string, identifier?: string, cell?: number): CodeIdentity | undefined
  /** Whether some text of this rule could name the design (and print version); a reason where none can. */
  canName(identity: { readonly design: string; readonly print?: string }): string | undefined
}

/** Whether a read's ISO/IEC 15424 identifier is one of these symbologies; an absent identifier fits all. */
export type SymbologyFit = (symbologies: readonly SymbologyName[], identifier: string | undefined) => boolean
