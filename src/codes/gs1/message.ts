// A GS1 text taken apart into its elements.
import type { AiEntry } from './ai-dictionary.ts'
import type { Gs1Fault, Gs1RuleName } from './fault.ts'

/** How the elements were written. */
export type Gs1Syntax = 'element-string' | 'bracketed' | 'digital-link'

/** An application identifier with its value. */
export interface Gs1Element {
  readonly ai: string
  /** As it would stand in an element string: percent-encoding and escapes undone, short GTINs of Digital Links padded. */
  readonly value: string
  /** Offset of the AI's first digit in the text, from 0, in UTF-16 code units. */
  readonly position: number
}

/** An element as it was cut out of the text. */
export interface CutElement extends Gs1Element {
  readonly entry: AiEntry
  /** Offset of the value in the text. */
  readonly valueAt: number
  /** Characters of the value that do not stand in the text. */
  readonly padding: number
}

/** A text that was taken apart; nothing is said yet about its values. */
export interface Gs1Message {
  readonly syntax: Gs1Syntax
  readonly text: string
  readonly elements: readonly CutElement[]
}

/** What could be cut before the fault is kept, to be shown to a person. */
export interface Refused {
  readonly ok: false
  readonly message: Gs1Message
  readonly fault: Gs1Fault
}

export type Cut = { readonly ok: true; readonly message: Gs1Message } | Refused

interface Refusal extends Omit<Gs1Fault, 'rule' | 'position'> {
  readonly at: number
  readonly rule: Gs1RuleName
}

export function refuse(message: Gs1Message, { at, ...rest }: Refusal): Refused {
  return { ok: false, message, fault: { position: at, ...rest } }
}

/** Whether a bracket stands here that is led by a backslash, and so part of a value. */
export const isEscape = (text: string, at: number): boolean =>
  text[at] === '\\' && (text[at + 1] === '(' || text[at + 1] === ')')

/** Where in the text a character of a value stands. */
export function positionInValue({ syntax, text }: Gs1Message, element: CutElement, index: number): number {
  let at = element.valueAt
  for (let step = element.padding; step < index; step++) {
    const char = text[at]
    if (syntax === 'digital-link' && char === '%') at += 3
    else if (syntax === 'bracketed' && isEscape(text, at)) at += 2
    else at += 1
  }
  return at
}
