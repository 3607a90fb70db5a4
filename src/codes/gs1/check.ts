// Whether the values of a text are what the dictionary asks of them.
import type { AiEntry, AiPart } from './ai-dictionary.ts'
import { firstOutside, setNames, setRules } from './character-sets.ts'
import type { Gs1Fault, Gs1RuleName } from './fault.ts'
import type { Lint } from './lint.ts'
import { cset64 } from './lint-values.ts'
import { linters } from './linters.ts'
import { type CutElement, type Gs1Message, positionInValue } from './message.ts'
import { pairFaults } from './pairs.ts'

/** What is wrong with a value; `at` counts in the value. */
export interface ValueFault extends Lint {
  readonly rule: Gs1RuleName
}

/** The first fault of a value, or undefined: its length, then lengths, character sets and checks of its components from the left. */
export function valueFault(entry: AiEntry, value: string): ValueFault | undefined {
  if (value.length < entry.lengthMin || value.length > entry.lengthMax) return lengthFault(entry, value)
  let at = 0
  for (const part of entry.parts) {
    const left = value.length - at
    if (left === 0 && part.optional) break
    if (left < part.min) return lengthFault(entry, value)
    const to = at + Math.min(left, part.max)
    const fault = partFault(part, { text: value, from: at, to })
    if (fault) return fault
    at = to
  }
  return at < value.length ? lengthFault(entry, value) : undefined
}

function lengthFault({ lengthMin, lengthMax }: AiEntry, value: string): ValueFault {
  const limit = lengthMin === lengthMax ? `${lengthMin}` : `${lengthMin} to ${lengthMax}`
  const message = `its length is ${value.length} and should be ${limit}`
  return { at: Math.min(value.length, lengthMax), rule: 'length', message, measured: value.length, limit }
}

interface Component {
  readonly text: string
  readonly from: number
  readonly to: number
}

function partFault(part: AiPart, component: Component): ValueFault | undefined {
  const outside = firstOutside(part.set, component)
  const { text, from, to } = component
  if (outside >= 0) {
    const measured = text.charAt(outside)
    const message = `“${shown(measured)}” is none of the ${setNames[part.set]}`
    return { at: outside, rule: setRules[part.set], message, measured, limit: setNames[part.set] }
  }
  if (part.linters.length === 0 && part.set !== 'Z') return undefined
  const own = text.slice(from, to)
  const padding = part.set === 'Z' ? cset64(own) : undefined
  if (padding) return { ...padding, at: from + padding.at, rule: 'cset64' }
  for (const name of part.linters) {
    const lint = linters[name](own)
    if (lint) return { ...lint, at: from + lint.at, rule: name }
  }
  return undefined
}

/** Control characters as the pictures that Unicode has for them. */
export const shown = (text: string): string =>
  text.replaceAll(/\p{Cc}/gu, (char) => (char < ' ' ? String.fromCharCode(0x2400 + char.charCodeAt(0)) : '\u2421'))

/** The first fault of an element's value, placed in the text. */
export function elementFault(message: Gs1Message, element: CutElement): Gs1Fault | undefined {
  const fault = valueFault(element.entry, element.value)
  if (!fault) return undefined
  const { at, rule, measured, limit } = fault
  const position = positionInValue(message, element, at)
  return { ai: element.ai, position, rule, message: `AI (${element.ai}): ${fault.message}`, measured, limit }
}

/** Whether rules between elements count: a label may carry the others in another code. */
export type PairRules = 'enforced' | 'ignored'

/** The first fault of a text: those of its values before those between elements. */
export function messageFault(message: Gs1Message, pairs: PairRules): Gs1Fault | undefined {
  for (const element of message.elements) {
    const fault = elementFault(message, element)
    if (fault) return fault
  }
  return pairs === 'enforced' ? pairFaults(message)[0] : undefined
}
