// Element strings without brackets, as scanners transmit them: AIs and values, FNC1 as group separator behind values of open length.
import { type AiEntry, aiAt } from './ai-dictionary.ts'
import { type Cut, type CutElement, type Gs1Message, refuse } from './message.ts'

export interface ElementStringOptions {
  /** Where the element string begins in the text. */
  readonly from: number
  /** Whether a caret stands for FNC1 as well, where a person types. */
  readonly caret: boolean
  /** Whether one separator may lead: FNC1 in first position, which scanners send as an identifier and some as GS. */
  readonly leading: boolean
}

/**
 * Cuts an element string. A separator behind a value of predefined length is taken, for it only should not stand there (General
 * Specifications, 7.8.4), and so is one at the end; two in a row are not. Values of predefined length end where the table says, all
 * others at a separator or the end of the text.
 */
export function cutElementString(text: string, options: ElementStringOptions): Cut {
  const elements: CutElement[] = []
  const message: Gs1Message = { syntax: 'element-string', text, elements }
  let at = options.from
  if (options.leading && isSeparator(text, at, options.caret)) at += 1
  if (at >= text.length) {
    return refuse(message, { at, rule: 'empty', message: 'there are no elements', measured: 0, limit: 1 })
  }
  while (at < text.length) {
    const entry = aiAt(text, at)
    if (!entry) return unknownAi(message, at, options.caret)
    const valueAt = at + entry.ai.length
    const end = endOfValue(text, { entry, valueAt, caret: options.caret })
    elements.push({ ai: entry.ai, value: text.slice(valueAt, end), position: at, entry, valueAt, padding: 0 })
    at = isSeparator(text, end, options.caret) ? end + 1 : end
  }
  return { ok: true, message }
}

/** FNC1 between elements comes from the scanner as the control character GS, 0x1D; a person types a caret. */
function isSeparator(text: string, at: number, caret: boolean): boolean {
  const unit = text.charCodeAt(at)
  return unit === 0x1d || (caret && unit === 0x5e)
}

interface ValueStart {
  readonly entry: AiEntry
  readonly valueAt: number
  readonly caret: boolean
}

function endOfValue(text: string, { entry, valueAt, caret }: ValueStart): number {
  const furthest = entry.predefined ? Math.min(text.length, valueAt + entry.lengthMax) : text.length
  let end = valueAt
  while (end < furthest && !isSeparator(text, end, caret)) end += 1
  return end
}

function unknownAi(message: Gs1Message, at: number, caret: boolean): Cut {
  if (isSeparator(message.text, at, caret)) {
    return refuse(message, { at, rule: 'separator', message: 'a separator stands where an AI should begin' })
  }
  const measured = message.text.slice(at, at + 4)
  return refuse(message, {
    at,
    rule: 'ai',
    message: `no AI begins with “${measured}”`,
    measured,
    limit: 'an AI of GS1',
  })
}
