// A GS1 text explained to a person: what was recognised, element by element, and every fault with a pointer under the text.
import { toBracketed } from './bracketed.ts'
import { elementFault, shown } from './check.ts'
import type { Gs1Fault, Gs1RuleName } from './fault.ts'
import { meaningOf } from './meaning.ts'
import type { Gs1Syntax } from './message.ts'
import { pairFaults } from './pairs.ts'
import { cutGs1, type ReadOptions } from './read.ts'

export interface Gs1ExplainedElement {
  readonly ai: string
  readonly title: string
  readonly value: string
  readonly position: number
  /** What the value means, where it holds and that is simple to say. */
  readonly meaning?: string
}

export interface Gs1PointedFault extends Gs1Fault {
  /** Spaces and a caret: to be printed under `shown` in a fixed-width font. */
  readonly pointer: string
}

export interface Gs1Explanation {
  /** Whether the whole text holds. */
  readonly ok: boolean
  /** Absent where the text is none of them at all. */
  readonly syntax?: Gs1Syntax
  /** The text with control characters made visible, character for character. */
  readonly shown: string
  /** As far as the text could be taken apart. */
  readonly elements: readonly Gs1ExplainedElement[]
  /** The elements as people write them; absent where there are none. */
  readonly bracketed?: string
  readonly faults: readonly Gs1PointedFault[]
}

/** Faults of texts that were not taken for any syntax. */
const formless: ReadonlySet<Gs1RuleName> = new Set(['text-bytes', 'identifier', 'plain-data'])

export interface ExplainOptions extends Pick<ReadOptions, 'identifier'> {
  /** For the century of two-digit years, ms since 1970. */
  readonly nowMs: number
}

/**
 * Explains a text that a person typed or a scanner read: element string (also with `^` for FNC1, and with its symbology identifier
 * in front), AIs in brackets, or Digital Link. Every value's first fault is told, and every broken rule between elements.
 */
export function explainGs1(text: string, { identifier, nowMs }: ExplainOptions): Gs1Explanation {
  const cut = cutGs1(text, { identifier, human: true })
  const { message } = cut
  const context = { thisYear: new Date(nowMs).getUTCFullYear() }
  const wrong = new Map(message.elements.map((element) => [element, elementFault(message, element)]))
  const elements = message.elements.map((element): Gs1ExplainedElement => {
    const { ai, value, position, entry } = element
    const meaning = wrong.get(element) ? undefined : meaningOf(element, entry.title, context)
    return { ai, title: entry.title, value, position, ...(meaning === undefined ? {} : { meaning }) }
  })
  const inValues = [...wrong.values()].filter((fault) => fault !== undefined)
  // A text that could not be cut to its end would be told to lack what was not reached.
  const faults = cut.ok ? [...inValues, ...pairFaults(message)] : [...inValues, cut.fault]
  return {
    ok: faults.length === 0,
    ...(cut.ok || !formless.has(cut.fault.rule) ? { syntax: message.syntax } : {}),
    shown: shown(text),
    elements,
    ...(elements.length > 0 ? { bracketed: toBracketed(elements) } : {}),
    faults: faults.map((fault) => ({ ...fault, pointer: `${' '.repeat(fault.position)}^` })),
  }
}
