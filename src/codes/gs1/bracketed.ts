// Element strings as people write them: (01)09521234543213(10)ABC123.
import { type AiEntry, findAi } from './ai-dictionary.ts'
import { type Cut, type CutElement, type Gs1Element, type Gs1Message, isEscape, refuse } from './message.ts'

/**
 * Cuts a text with its AIs in brackets. An opening bracket in a value is written `\(`; `\)` is taken as well, and no value holds a
 * backslash. Spaces around an element are for the eye and don't count, since no value holds a space either.
 */
export function cutBracketed(text: string): Cut {
  const elements: CutElement[] = []
  const message: Gs1Message = { syntax: 'bracketed', text, elements }
  let at = afterSpaces(text, 0)
  while (at < text.length) {
    const close = text.indexOf(')', at)
    if (text[at] !== '(' || close < 0) {
      return refuse(message, { at, rule: 'bracket', message: 'an AI in brackets should begin here' })
    }
    const ai = text.slice(at + 1, close)
    const entry = findAi(ai)
    if (!entry) {
      const shown = ai.slice(0, 12)
      return refuse(message, {
        at: at + 1,
        rule: 'ai',
        message: `there is no AI “${shown}”`,
        measured: shown,
        limit: 'an AI of GS1',
      })
    }
    const valueAt = afterSpaces(text, close + 1)
    const end = endOfValue(text, valueAt)
    elements.push(cutValue({ text, entry, position: at + 1, valueAt, end }))
    at = end
  }
  return { ok: true, message }
}

interface Found {
  readonly text: string
  readonly entry: AiEntry
  readonly position: number
  readonly valueAt: number
  readonly end: number
}

function cutValue({ text, entry, position, valueAt, end }: Found): CutElement {
  let last = end
  while (last > valueAt && text[last - 1] === ' ') last -= 1
  const value = text.slice(valueAt, last).replaceAll(/\\([()])/g, '$1')
  return { ai: entry.ai, value, position, entry, valueAt, padding: 0 }
}

function afterSpaces(text: string, from: number): number {
  let at = from
  while (text[at] === ' ') at += 1
  return at
}

function endOfValue(text: string, valueAt: number): number {
  for (let at = valueAt; at < text.length; at++) {
    if (isEscape(text, at)) at += 1
    else if (text[at] === '(') return at
  }
  return text.length
}

/** Elements as people write them; what `cutBracketed` reads. */
export function toBracketed(elements: readonly Pick<Gs1Element, 'ai' | 'value'>[]): string {
  return elements.map(({ ai, value }) => `(${ai})${value.replaceAll('(', '\\(')}`).join('')
}
