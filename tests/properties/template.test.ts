// The template rule against a reading of every possible split of a text: slow, obvious, and sharing no code with the matcher.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { compileTemplate } from '../../src/codes/index.ts'
import { type CodeUnits, findLiteral, toLiteral } from '../../src/codes/literal-search.ts'
import { matchPlan } from '../../src/codes/template-match.ts'
import { planTemplate } from '../../src/codes/template-plan.ts'
import { parseTemplate } from '../../src/codes/template-syntax.ts'
import { Problem } from '../../src/kernel/problem.ts'

interface Slot {
  readonly name: 'design' | 'print' | 'serial' | '_'
  readonly digits: boolean
  readonly width?: number
}
type Part = string | Slot
type Reading = Readonly<Record<string, string>>

const spellPart = (part: Part): string => {
  if (typeof part === 'string') return part.replaceAll('{', '{{').replaceAll('}', '}}')
  const shape = `${part.width ?? ''}${part.digits ? 'd' : ''}`
  return `{${part.name}${shape === '' ? '' : `:${shape}`}}`
}
const spellTemplate = (parts: readonly Part[]): string => parts.map(spellPart).join('')

/** Side by side literals are one literal. */
function joined(parts: readonly Part[]): Part[] {
  const done: Part[] = []
  for (const part of parts) {
    const last = done.at(-1)
    if (typeof part === 'string' && typeof last === 'string') done[done.length - 1] = last + part
    else done.push(part)
  }
  return done
}

/** Every way to read the text: each field's every length, kept where a run with an open field ends at its literal's first place. */
function readings(parts: readonly Part[], text: string, at = 0, openAt?: number): Reading[] {
  const [part, ...rest] = parts
  if (part === undefined) return at === text.length ? [{}] : []
  if (typeof part === 'string') {
    if (!text.startsWith(part, at)) return []
    if (openAt !== undefined && text.indexOf(part, openAt) !== at) return []
    return readings(rest, text, at + part.length)
  }
  const found: Reading[] = []
  for (let width = part.width ?? 1; at + width <= text.length && width <= (part.width ?? text.length); width++) {
    const value = text.slice(at, at + width)
    if (part.digits && !/^[0-9]*$/.test(value)) break
    const open = openAt ?? (part.width === undefined ? at : undefined)
    for (const reading of readings(rest, text, at + width, open)) {
      // Ignored fields count as a difference between readings; each has its own place.
      found.push({ [part.name === '_' ? `_${parts.length}` : part.name]: value, ...reading })
    }
  }
  return found
}

const named = (reading: Reading | undefined): Reading | undefined =>
  reading && Object.fromEntries(Object.entries(reading).filter(([name]) => !name.startsWith('_')))

const compile = (parts: readonly Part[]) => compileTemplate(spellTemplate(parts), { job: 'J', symbologies: ['qr'] })

function isAmbiguous(parts: readonly Part[]): boolean {
  try {
    compile(parts)
    return false
  } catch (error) {
    if (error instanceof Problem && error.code === 'template-ambiguous') return true
    throw error
  }
}

const slot = (name: Slot['name'], digits: boolean, width?: number): Slot => ({
  name,
  digits,
  ...(width === undefined ? {} : { width }),
})

const smallParts: readonly Part[] = [
  'a',
  '1',
  'aa',
  'a1',
  slot('design', false),
  slot('print', false, 1),
  slot('serial', true),
  slot('serial', true, 1),
  slot('_', false),
  slot('_', false, 1),
]

/** All sequences of up to `length` parts that name the design once, nothing else twice, and hold no two literals side by side. */
function smallTemplates(length: number): Part[][] {
  let longest: Part[][] = [[]]
  const all: Part[][] = []
  for (let round = 0; round < length; round++) {
    longest = longest.flatMap((parts) => smallParts.map((part) => [...parts, part]))
    all.push(...longest)
  }
  const isFair = (parts: readonly Part[]): boolean => {
    const names = parts.flatMap((part) => (typeof part === 'string' || part.name === '_' ? [] : [part.name]))
    return names.includes('design') && new Set(names).size === names.length && joined(parts).length === parts.length
  }
  return all.filter(isFair)
}

function textsOf(alphabet: string, length: number): string[] {
  let longest = ['']
  const all = ['']
  for (let round = 0; round < length; round++) {
    longest = longest.flatMap((text) => [...alphabet].map((char) => text + char))
    all.push(...longest)
  }
  return all
}

describe('templates of up to four parts over texts of up to seven characters', () => {
  const texts = textsOf('a12', 7)
  const templates = smallTemplates(4)

  it('are refused exactly where some text has two readings, and else match its one reading', () => {
    const counts = { accepted: 0, refused: 0, matches: 0 }
    for (const parts of templates) {
      if (isAmbiguous(parts)) {
        counts.refused++
        expect(
          texts.some((text) => readings(parts, text).length > 1),
          spellTemplate(parts),
        ).toBe(true)
        continue
      }
      counts.accepted++
      const rule = compile(parts)
      for (const text of texts) {
        const all = readings(parts, text)
        const match = rule.match(text)
        if (all.length > 0) counts.matches++
        if (all.length > 1 || JSON.stringify(sorted(match)) !== JSON.stringify(sorted(named(all[0])))) {
          expect.fail(`${spellTemplate(parts)} on “${text}”: ${JSON.stringify(match)} against ${JSON.stringify(all)}`)
        }
      }
    }
    console.log(`templates: ${counts.accepted} accepted, ${counts.refused} refused; ${counts.matches} matching texts`)
    expect(counts.accepted).toBeGreaterThan(1_000)
    expect(counts.refused).toBeGreaterThan(100)
    expect(counts.matches).toBeGreaterThan(100_000)
  })

  it('can name a design and print version exactly where some text does', () => {
    // `!` stands in no literal, so that it is what a filler would be.
    const longer = textsOf('a12!', 6)
    for (const parts of smallTemplates(3).filter((template) => !isAmbiguous(template))) {
      const rule = compile(parts)
      const identities = longer.flatMap((text) => rule.match(text) ?? [])
      for (const design of ['a', '1', 'aa', 'a1', '1a']) {
        for (const print of [undefined, 'a', '1', 'aa']) {
          const wanted = { design, ...(print === undefined ? {} : { print }) }
          const isNamed = identities.some(
            (found) => found.design === design && (print === undefined || (found.print ?? print) === print),
          )
          expect(rule.canName(wanted) === undefined, `${spellTemplate(parts)} ${JSON.stringify(wanted)}`).toBe(isNamed)
        }
      }
    }
  })
})

const sorted = (value: object | undefined) => value && Object.entries(value).toSorted(([a], [b]) => (a < b ? -1 : 1))

const literal = fc.stringMatching(/^[ab1{}./-]{1,4}$/)
const slots = fc
  .constantFrom('print', 'serial', '_')
  .chain((name) =>
    fc
      .record({ digits: fc.boolean(), width: fc.option(fc.integer({ min: 1, max: 3 }), { nil: undefined }) })
      .map(({ digits, width }) => slot(name as Slot['name'], digits, width)),
  )
const template = fc
  .tuple(fc.array(fc.oneof(literal, slots), { maxLength: 4 }), fc.array(fc.oneof(literal, slots), { maxLength: 4 }))
  .map(([before, after]) => [...before, slot('design', false), ...after])
  .filter((parts) => {
    const names = parts.flatMap((part) => (typeof part === 'string' || part.name === '_' ? [] : [part.name]))
    return new Set(names).size === names.length
  })

/** A text that has the template's outline, its open fields filled with what may or may not end them early. */
const textOf = (parts: readonly Part[]): fc.Arbitrary<string> =>
  fc
    .tuple(
      ...parts.map((part) => {
        if (typeof part === 'string') return fc.constant(part)
        const width =
          part.width === undefined ? { minLength: 1, maxLength: 4 } : { minLength: part.width, maxLength: part.width }
        const unit = part.digits ? fc.constantFrom('1', '2') : fc.constantFrom('a', 'b', '1', '.', '/', '-', '{')
        return fc.string({ unit, ...width })
      }),
    )
    .map((pieces) => pieces.join(''))

describe('templates and texts at random', () => {
  it('have at most one reading where the template is accepted, and the match is that reading', () => {
    let matched = 0
    fc.assert(
      fc.property(
        template.chain((parts) => fc.tuple(fc.constant(parts), textOf(parts))),
        ([parts, text]) => {
          if (isAmbiguous(parts)) return
          const all = readings(joined(parts), text)
          expect(all.length).toBeLessThanOrEqual(1)
          expect(compile(parts).match(text)).toEqual(named(all[0]))
          matched += all.length
        },
      ),
      { numRuns: 3_000, seed: 20_250_611 },
    )
    expect(matched).toBeGreaterThan(300)
  })
})

describe('the cost of matching', () => {
  class Counted implements CodeUnits {
    reads = 0
    readonly text: string
    constructor(text: string) {
      this.text = text
    }
    get length(): number {
      return this.text.length
    }
    charCodeAt(index: number): number {
      this.reads++
      return this.text.charCodeAt(index)
    }
    slice(start: number, end: number): string {
      return this.text.slice(start, end)
    }
  }

  const hostile = [
    '{design}aaaaaaaaaaaaaaab{serial}',
    '{design}ab{serial}ab{_}ab{print}',
    '{_}a{_}a{_}a{_}a{_}a{_}a{_}a{design}b',
    '{_:1}aa{_}aab{design}{serial:6d}aaaaaaaaab',
    'aaaaaaaaaa{design}',
    '{design}{serial:100}',
  ]
  const texts = ['a'.repeat(200), 'ab'.repeat(100), `${'a'.repeat(199)}b`, `${'aaab'.repeat(50)}`, '1'.repeat(200)]

  it.each(hostile)('%s reads no code unit of a text more than three times', (pattern) => {
    const plan = planTemplate(parseTemplate(pattern, 'J'))
    for (const text of texts) {
      const counted = new Counted(text)
      matchPlan(plan, counted)
      expect(counted.reads).toBeLessThanOrEqual(3 * text.length)
    }
  })

  it('falls back within a literal at most once for each code unit that it read', () => {
    for (const wanted of [`${'a'.repeat(100)}b`, 'aab'.repeat(30), 'ab'.repeat(60)]) {
      for (const text of texts) {
        let fallbacks = 0
        const { borders } = toLiteral(wanted)
        const counting = new Proxy(borders, {
          get(target, key) {
            fallbacks++
            return Reflect.get(target, key)
          },
        })
        expect(findLiteral(text, { text: wanted, borders: counting }, 0)).toBe(text.indexOf(wanted))
        expect(fallbacks).toBeLessThanOrEqual(text.length)
      }
    }
  })
})
