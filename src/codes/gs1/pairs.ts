// Rules between the elements of one text: what must stand together, what may not, and AIs that come twice.
import type { Gs1Fault } from './fault.ts'
import type { CutElement, Gs1Message } from './message.ts'

/**
 * Every broken rule between elements, in the order of the elements. The same AI may come twice with the same value in element strings
 * (General Specifications, 4.14: one and the same data), and not at all in a Digital Link.
 */
export function pairFaults({ syntax, elements }: Gs1Message): readonly Gs1Fault[] {
  const present = new Map<string, string>()
  const faults: Gs1Fault[] = []
  for (const element of elements) {
    const other = present.get(element.ai)
    if (other === undefined) present.set(element.ai, element.value)
    else if (other !== element.value || syntax === 'digital-link') faults.push(repeated(element, other))
  }
  for (const element of elements) {
    const barred = element.entry.bars.find((ai) => present.has(ai))
    if (barred !== undefined) faults.push(bars(element, barred))
    if (!hasNeeds(element, present)) faults.push(needs(element, present))
  }
  return faults
}

function hasNeeds({ entry }: CutElement, present: ReadonlyMap<string, string>): boolean {
  if (entry.needs.length === 0) return true
  return entry.needs.some((alternative) => alternative.every((choice) => choice.some((ai) => present.has(ai))))
}

const repeated = ({ ai, value, position }: CutElement, other: string): Gs1Fault => ({
  ai,
  position,
  rule: 'repeat',
  message: other === value ? `AI (${ai}) comes twice` : `AI (${ai}) comes twice, with “${other}” and “${value}”`,
  measured: value,
  limit: other,
})

const bars = ({ ai, position }: CutElement, other: string): Gs1Fault => ({
  ai,
  position,
  rule: 'ex',
  message: `AI (${ai}) may not stand beside (${other})`,
  measured: other,
  limit: `without ${other}`,
})

const needs = ({ ai, position, entry }: CutElement, present: ReadonlyMap<string, string>): Gs1Fault => ({
  ai,
  position,
  rule: 'req',
  message: `AI (${ai}) needs one of ${entry.needsText} beside it`,
  measured: [...present.keys()].join(' '),
  limit: entry.needsText,
})
