// The table of AIs, opened: every AI on its own, and found by the digits at a place of a text.
import { assert } from '../../kernel/assert.ts'
import { aiRows } from './ai-table.ts'
import type { CharacterSet } from './character-sets.ts'
import { digitAt } from './lint.ts'
import { isLinterName, type LinterName } from './linters.ts'

export interface AiPart {
  readonly set: CharacterSet
  readonly min: number
  readonly max: number
  readonly optional: boolean
  readonly linters: readonly LinterName[]
}

/** AIs that are the same to a rule; one of them has to be there. */
type AiChoice = readonly string[]

export interface AiEntry {
  readonly ai: string
  readonly title: string
  /** Needs no separator behind it. */
  readonly predefined: boolean
  /** May stand in the query of a Digital Link. */
  readonly attribute: boolean
  readonly parts: readonly AiPart[]
  readonly lengthMin: number
  readonly lengthMax: number
  /** Alternatives, each a list of choices that must all be there. Empty: nothing is needed. */
  readonly needs: readonly (readonly AiChoice[])[]
  /** As the table spells the needs. */
  readonly needsText: string
  /** None of these may be there. */
  readonly bars: readonly string[]
  /** Of a primary key of Digital Links: its qualifiers in order, one list for each alternative order. */
  readonly paths?: readonly (readonly string[])[]
}

const words = (text: string): string[] => text.split(' ').filter((word) => word !== '')

function toPart(text: string): AiPart {
  const [shape = '', ...names] = words(text)
  const form = /^(\??)([NXYZ])(\d+)(?:-(\d+))?$/.exec(shape)
  assert(form, `the component ${text} of the table of AIs reads`)
  const linters = names.filter(isLinterName)
  assert(linters.length === names.length, `the table of AIs names known checks: ${text}`)
  const min = Number(form[3])
  return { set: form[2] as CharacterSet, min, max: Number(form[4] ?? min), optional: form[1] === '?', linters }
}

function expand(range: string): string[] {
  const [first = '', last = first] = range.split('-')
  return Array.from({ length: Number(last) - Number(first) + 1 }, (_, step) =>
    String(Number(first) + step).padStart(first.length, '0'),
  )
}

const allAis: readonly string[] = aiRows.flatMap(([range]) => expand(range))

function matching(pattern: string): string[] {
  const form = new RegExp(`^${pattern.replaceAll('n', '[0-9]')}$`)
  return allAis.filter((ai) => form.test(ai))
}

const entries: readonly AiEntry[] = aiRows.flatMap(([range, marks, partsText, title, pairs = {}]) => {
  const parts = partsText.split(' | ').map(toPart)
  const row = {
    title,
    predefined: marks.includes('p'),
    attribute: marks.includes('d'),
    parts,
    lengthMin: parts.reduce((sum, part) => sum + (part.optional ? 0 : part.min), 0),
    lengthMax: parts.reduce((sum, part) => sum + part.max, 0),
    needs: words(pairs.needs ?? '').map((alternative) => alternative.split('+').map(matching)),
    needsText: words(pairs.needs ?? '').join(', '),
    ...(pairs.path === undefined ? {} : { paths: pairs.path.split('|').map(words) }),
  }
  const bars = words(pairs.bars ?? '').flatMap(matching)
  // An AI doesn't bar itself, even where its pattern holds it.
  return expand(range).map((ai) => ({ ai, ...row, bars: bars.filter((other) => other !== ai) }))
})

const byAi: ReadonlyMap<string, AiEntry> = new Map(entries.map((entry) => [entry.ai, entry]))

/** By number, for each length of AI; the first two digits of an AI decide its length. */
const byNumber: readonly (readonly (AiEntry | undefined)[])[] = [2, 3, 4].map((length) => {
  const table = new Array<AiEntry | undefined>(10 ** length).fill(undefined)
  for (const entry of entries) if (entry.ai.length === length) table[Number(entry.ai)] = entry
  return table
})

const lengthByPrefix: readonly (number | undefined)[] = Array.from({ length: 100 }, (_, prefix) => {
  const lengths = new Set(allAis.filter((ai) => Number(ai.slice(0, 2)) === prefix).map((ai) => ai.length))
  assert(lengths.size <= 1, 'two digits decide the length of an AI')
  return [...lengths][0]
})

/** Every AI of the dictionary, in its order. */
export const aiEntries: readonly AiEntry[] = entries

export const findAi = (ai: string): AiEntry | undefined => byAi.get(ai)

/** The AI whose digits begin at this place, or undefined. */
export function aiAt(text: string, at: number): AiEntry | undefined {
  const prefix = numberAt(text, at, 2)
  const length = lengthByPrefix[prefix]
  return length === undefined ? undefined : byNumber[length - 2]?.[numberAt(text, at, length)]
}

/** −1 where there are no such digits. */
function numberAt(text: string, at: number, length: number): number {
  let number = 0
  for (let index = at; index < at + length; index++) {
    const digit = digitAt(text, index)
    if (!(digit >= 0 && digit <= 9)) return -1
    number = number * 10 + digit
  }
  return number
}
