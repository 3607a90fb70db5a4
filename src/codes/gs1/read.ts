// Reading a GS1 text: which syntax it is, its elements, and whether all of it holds.
import { limits } from '../../kernel/limits.ts'
import { cutBracketed } from './bracketed.ts'
import { messageFault, type PairRules } from './check.ts'
import { cutDigitalLink } from './digital-link.ts'
import { cutElementString } from './element-string.ts'
import type { Gs1Fault } from './fault.ts'
import { carriesElementString, isIdentifier, leadingIdentifier } from './identifiers.ts'
import { type Cut, type Gs1Element, type Gs1Message, type Gs1Syntax, refuse } from './message.ts'
import { looksLikeUri } from './uri.ts'

export interface ReadOptions {
  /** ISO/IEC 15424 symbology identifier, such as `]Q3`, where the reader gave one; it may also lead the text. */
  readonly identifier?: string | undefined
  /** Texts as people write them: AIs in brackets, and `^` for FNC1, are read too. Default false. */
  readonly human?: boolean
  /** Default `enforced`. */
  readonly pairs?: PairRules
}

export type Gs1Reading =
  | { readonly ok: true; readonly syntax: Gs1Syntax; readonly elements: readonly Gs1Element[] }
  | { readonly ok: false; readonly fault: Gs1Fault }

/**
 * Takes a text apart without looking at values. Behind an identifier that stands for FNC1 in first position comes an element string,
 * behind any other only a Digital Link can come; without an identifier the text's beginning decides.
 */
export function cutGs1(text: string, { identifier, human = false }: ReadOptions): Cut {
  const message: Gs1Message = { syntax: 'element-string', text, elements: [] }
  const bytes = text.length > limits.codeBytesMax ? text.length : Buffer.byteLength(text)
  if (bytes > limits.codeBytesMax) {
    const limit = limits.codeBytesMax
    return refuse(message, {
      at: 0,
      rule: 'text-bytes',
      message: `the text is longer than ${limit} bytes`,
      measured: bytes,
      limit,
    })
  }
  if (identifier !== undefined && !isIdentifier(identifier)) {
    const measured = identifier.slice(0, 8)
    return refuse(message, {
      at: 0,
      rule: 'identifier',
      message: `“${measured}” is no symbology identifier`,
      measured,
      limit: ']cm',
    })
  }
  const leading = identifier === undefined ? leadingIdentifier(text) : undefined
  const from = leading?.length ?? 0
  const carrier = identifier ?? leading
  if (carrier !== undefined && carriesElementString(carrier)) {
    return cutElementString(text, { from, caret: human, leading: false })
  }
  return carrier === undefined ? cutBare(text, human) : cutPlain(message, { from, carrier })
}

function cutBare(text: string, human: boolean): Cut {
  if (looksLikeUri(text)) return cutDigitalLink(text, 0)
  if (human && /^ *\(/.test(text)) return cutBracketed(text)
  return cutElementString(text, { from: 0, caret: human, leading: true })
}

function cutPlain(message: Gs1Message, { from, carrier }: { readonly from: number; readonly carrier: string }): Cut {
  if (looksLikeUri(message.text.slice(from))) return cutDigitalLink(message.text, from)
  const text = `behind ${carrier} comes plain data, and of GS1 only a Digital Link`
  return refuse(message, {
    at: from,
    rule: 'plain-data',
    message: text,
    measured: carrier,
    limit: ']C1 ]e0 ]d2 ]Q3 ]J1',
  })
}

/**
 * Reads and checks a text: syntax, every value against the dictionary, the rules between AIs. Linear in the text, which may be at most
 * `limits.codeBytesMax` bytes long. Never throws: a fault names the AI, the place in the text, the rule, the value and the limit.
 */
export function readGs1(text: string, options: ReadOptions = {}): Gs1Reading {
  const cut = cutGs1(text, options)
  const fault = cut.ok ? messageFault(cut.message, options.pairs ?? 'enforced') : cut.fault
  if (fault) return { ok: false, fault }
  const elements = cut.message.elements.map(({ ai, value, position }) => ({ ai, value, position }))
  return { ok: true, syntax: cut.message.syntax, elements }
}
