// GS1 texts at random: the three syntaxes hold the same, and whatever is broken is told and never thrown.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { toBracketed } from '../../src/codes/gs1/bracketed.ts'
import { readGs1 } from '../../src/codes/gs1/read.ts'
import { compileGs1, explainGs1 } from '../../src/codes/index.ts'
import { limits } from '../../src/kernel/limits.ts'
import { randomFrom } from '../drawn-symbols.ts'
import {
  allAis,
  gs,
  type PlainElement,
  rightElements,
  writeBracketed,
  writeDigitalLink,
  writeElementString,
} from '../fixtures/gs1-texts.ts'

const seed = 20_260_301
console.log(`seed ${seed}`)

const elementsOf = (text: string, human = false): readonly PlainElement[] | string => {
  const reading = readGs1(text, { human })
  return reading.ok ? reading.elements.map(({ ai, value }) => ({ ai, value })) : JSON.stringify(reading.fault)
}

/** Elements that may stand together and fit the limit in every syntax; brackets among the characters of values of open length. */
const elementLists: fc.Arbitrary<readonly PlainElement[]> = fc
  .record({
    ais: fc.uniqueArray(fc.constantFrom(...allAis), { minLength: 1, maxLength: 4 }),
    chance: fc.nat(),
    bracket: fc.boolean(),
    turn: fc.nat({ max: 7 }),
  })
  .map(({ ais, chance, bracket, turn }) => {
    const found =
      rightElements(ais, 'any', randomFrom(chance)) ?? rightElements(ais.slice(0, 1), 'least', randomFrom(chance))!
    const elements = bracket ? found.map(withBracket) : found
    return [...elements.slice(turn), ...elements.slice(0, turn)]
  })
  .filter((elements) => (writeDigitalLink(elements)?.text ?? writeBracketed(elements)).length <= limits.codeBytesMax)

/** AIs whose values are free text. */
const free = new Set(['10', '21', '22', '240', '241', '91', '92', '98', '400'])
const withBracket = ({ ai, value }: PlainElement): PlainElement => ({
  ai,
  value: free.has(ai) && value.length > 2 ? `(${value.slice(1, -1)})` : value,
})

describe('lists of right elements', () => {
  it('come back from element strings, from brackets and from Digital Links', () => {
    let links = 0
    fc.assert(
      fc.property(elementLists, (elements) => {
        expect(elementsOf(writeElementString(elements))).toEqual(elements)
        expect(elementsOf(writeElementString(elements, '^'), true)).toEqual(elements)
        expect(elementsOf(writeBracketed(elements), true)).toEqual(elements)
        expect(elementsOf(toBracketed(elements), true)).toEqual(elements)
        const link = writeDigitalLink(elements, {
          stem: 'http://x.example:80/01/y',
          extra: 'linkType=all',
          fragment: '10=z',
        })
        if (!link || link.text.length > limits.codeBytesMax) return
        links++
        expect(elementsOf(link.text)).toEqual(link.elements)
      }),
      { seed, numRuns: 1_500 },
    )
    expect(links).toBeGreaterThan(200)
  })

  it('name the same to a rule, however they are written', () => {
    fc.assert(
      fc.property(elementLists, (elements) => {
        const [design, serial] = elements
        const link = writeDigitalLink(elements)
        if (!design || !serial || !link || design.ai === serial.ai) return
        const rule = compileGs1({ symbologies: ['qr'], design: design.ai, serial: serial.ai })
        const identity = { design: design.value, serial: serial.value }
        expect(rule.match(writeElementString(elements), ']Q3')).toEqual(identity)
        expect(rule.match(link.text, ']Q1')).toEqual(identity)
        expect(rule.canName({ design: design.value })).toBeUndefined()
      }),
      { seed, numRuns: 500 },
    )
  })
})

const alphabet = [
  '0',
  '1',
  '9',
  'A',
  'z',
  gs,
  '^',
  '(',
  ')',
  '\\',
  '/',
  '?',
  '#',
  '&',
  ';',
  '=',
  '%',
  '%4',
  '+',
  ' ',
  ']',
  '\0',
  'é',
  '\ud83d',
]

interface Edit {
  readonly at: number
  readonly cut: number
  readonly put: string
}

const edits = fc.array(
  fc.record({ at: fc.nat({ max: 200 }), cut: fc.nat({ max: 3 }), put: fc.constantFrom('', ...alphabet) }),
  { minLength: 1, maxLength: 3 },
)

const edited = (text: string, all: readonly Edit[]): string =>
  all.reduce((done, { at, cut, put }) => {
    const from = at % (done.length + 1)
    return done.slice(0, from) + put + done.slice(from + cut)
  }, text)

const writings = (elements: readonly PlainElement[]): string[] => [
  writeElementString(elements),
  `]d2${writeElementString(elements)}`,
  writeBracketed(elements),
  ...[writeDigitalLink(elements)?.text ?? []].flat(),
]

/** What has to hold of any text at all. */
function holds(text: string, identifier?: string): 'right' | 'wrong' {
  const reading = readGs1(text, { identifier, human: true })
  const explained = explainGs1(text, { identifier, nowMs: 0 })
  expect(explained.ok).toBe(reading.ok)
  expect(explained.shown).toHaveLength(text.length)
  if (reading.ok) {
    expect(elementsOf(toBracketed(reading.elements), true)).toEqual(
      reading.elements.map(({ ai, value }) => ({ ai, value })),
    )
    for (const { ai, position } of reading.elements) expect(text.startsWith(ai, position)).toBe(true)
    return 'right'
  }
  const { position, rule, message } = reading.fault
  expect(position).toBeGreaterThanOrEqual(0)
  expect(position).toBeLessThanOrEqual(text.length)
  expect(rule).not.toBe('')
  expect(message).not.toBe('')
  expect(explained.faults.map((fault) => fault.rule)).toContain(rule)
  return 'wrong'
}

describe('any text', () => {
  it('that was right and then changed is still read, or told what is wrong', () => {
    const counts = { right: 0, wrong: 0 }
    fc.assert(
      fc.property(elementLists, edits, (elements, all) => {
        for (const text of writings(elements)) counts[holds(edited(text, all))]++
      }),
      { seed, numRuns: 2_000 },
    )
    console.log(`changed texts: ${counts.right} still right, ${counts.wrong} wrong`)
    expect(Math.min(counts.right, counts.wrong)).toBeGreaterThan(300)
  })

  it('at random never throws, behind any identifier', () => {
    const identifiers = fc.option(fc.constantFrom(']C1', ']Q1', ']Q3', ']d2', ']e0', 'x', ''), { nil: undefined })
    const texts = fc.oneof(
      fc.string({ unit: 'binary', maxLength: 250 }),
      fc
        .array(fc.constantFrom(...alphabet, 'https://', 'a/01/', '(01)', '10', '21', '310'), { maxLength: 60 })
        .map((parts) => parts.join('')),
    )
    fc.assert(
      fc.property(texts, identifiers, (text, identifier) => {
        holds(text, identifier)
      }),
      { seed, numRuns: 5_000 },
    )
  })
})
