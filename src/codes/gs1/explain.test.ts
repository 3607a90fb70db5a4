// GS1 texts explained to people.
import { describe, expect, it } from 'vitest'
import { explainGs1 } from './explain.ts'
import { rollFrom8001 } from './roll.ts'

const nowMs = Date.UTC(2026, 5, 1)
const gtin = '09521234543213'
const explain = (text: string, identifier?: string) => explainGs1(text, { identifier, nowMs })
const meaningsOf = (text: string) => explain(text).elements.map(({ ai, meaning }) => [ai, meaning])
const only = (element: string) => explain(`(01)${gtin}(8020)x(30)1${element}`).elements.at(-1)?.meaning

describe('an explanation', () => {
  it('tells syntax, titles, values and places, and how people write it', () => {
    expect(explain(`]Q301${gtin}17261231`)).toEqual({
      ok: true,
      syntax: 'element-string',
      shown: `]Q301${gtin}17261231`,
      elements: [
        { ai: '01', title: 'GTIN', value: gtin, position: 3 },
        { ai: '17', title: 'USE BY or EXPIRY', value: '261231', position: 19, meaning: '2026-12-31' },
      ],
      bracketed: `(01)${gtin}(17)261231`,
      faults: [],
    })
  })

  it('reads what scanners send and what people type', () => {
    expect(explain(`^01${gtin}10A^21B`).bracketed).toBe(`(01)${gtin}(10)A(21)B`)
    expect(explain(`(01) ${gtin} (10) A`).syntax).toBe('bracketed')
    expect(explain(`https://a/01/9521234543213/10/A%28`).bracketed).toBe(`(01)${gtin}(10)A\\(`)
    const plain = explain(`01${gtin}`, ']Q1')
    expect(plain).toMatchObject({ ok: false, elements: [], faults: [{ rule: 'plain-data' }] })
    expect(plain.syntax).toBeUndefined()
  })

  it('shows control characters, and points at faults under the shown text', () => {
    const { shown, faults } = explain(`01${gtin}10A\u001dZZ`)
    expect(shown).toBe(`01${gtin}10A␝ZZ`)
    expect(faults).toMatchObject([{ rule: 'ai', position: 20, pointer: `${' '.repeat(20)}^` }])
    expect(shown[20]).toBe('Z')
  })

  it('tells the fault of each value, and every rule broken between elements', () => {
    const { faults, elements } = explain('(01)09521234543214(17)261301(37)5(10)A')
    expect(faults.map(({ ai, rule }) => [ai, rule])).toEqual([
      ['01', 'csum'],
      ['17', 'yymmd0'],
      ['01', 'ex'],
      ['37', 'req'],
    ])
    expect(elements.map(({ meaning }) => meaning)).toEqual([undefined, undefined, undefined, undefined])
  })

  it('keeps what could be cut, and does not complain of what was not reached', () => {
    const { elements, faults } = explain('10A^99B^ZZ')
    expect(elements.map(({ ai }) => ai)).toEqual(['10', '99'])
    expect(faults.map(({ rule }) => rule)).toEqual(['ai'])
  })
})

describe('meanings', () => {
  it('are dates, with the century that is nearest', () => {
    expect(only('(11)260200')).toBe('2026-02, no day given')
    expect(only('(11)760101')).toBe('2076-01-01')
    expect(only('(11)770101')).toBe('1977-01-01')
    expect(only('(7003)2601312359')).toBe('2026-01-31 23:59')
    expect(only('(7007)260101260131')).toBe('2026-01-01 to 2026-01-31')
    expect(only('(7007)260101')).toBe('2026-01-01')
    expect(only('(8008)26013112')).toBe('2026-01-31 12 h')
    expect(only('(8008)26013112')).not.toBe(only('(8008)2601311200'))
    expect(only('(8008)260131125959')).toBe('2026-01-31 12:59:59')
    expect(only('(7251)194007281530')).toBe('1940-07-28 15:30')
  })

  it('turn the century in time', () => {
    const year = (nowMs: number) => explainGs1(`01${gtin}11400101`, { nowMs }).elements[1]?.meaning
    expect(year(Date.UTC(2089, 0, 1))).toBe('2040-01-01')
    expect(year(Date.UTC(2091, 0, 1))).toBe('2140-01-01')
  })

  it('are measures with the decimals that the AI names', () => {
    expect(only('(3103)000195')).toBe('0.195 kg')
    expect(only('(3100)000195')).toBe('195 kg')
    expect(only('(3105)123456')).toBe('1.23456 kg')
    expect(only('(3322)000195')).toBe('1.95 m')
    expect(only('(3601)000195')).toBe('19.5 qt (US)')
    expect(only('(3370)000080')).toBe('80 kg per m²')
  })

  it('are amounts, shares and countries', () => {
    expect(only('(3922)0299')).toBe('2.99')
    expect(only('(3932)9780299')).toBe('2.99 in currency 978 (ISO 4217)')
    expect(only('(3952)000299')).toBe('2.99')
    expect(only('(3941)0125')).toBe('12.5 %')
    expect(only('(422)276')).toBe('Germany')
    expect(only('(10)ABC')).toBeUndefined()
  })

  it('are rolls', () => {
    expect(meaningsOf(`(01)${gtin}(8001)01650120007604`)).toEqual([
      ['01', undefined],
      ['8001', '165 mm wide, 1200 m long, core 76 mm, wound face out, 4 splices'],
    ])
    expect(only('(8001)01650120007619')).toContain('wound face in, splices not counted')
  })
})

describe('a roll label with AI 8001', () => {
  const roll = (value: string) => rollFrom8001([{ ai: '8001', value, position: 0 }])

  it('fills in a ticket', () => {
    const rest = { widthMm: 165, lengthM: 1200, coreMm: 76 }
    expect(roll('01650120007604')).toEqual({ ...rest, winding: 'out', splices: 4 })
    expect(roll('01650120007610')).toEqual({ ...rest, winding: 'in', splices: 0 })
    expect(roll('01650120007699')).toEqual({ ...rest, winding: 'undefined' })
  })

  it('fills in nothing where it does not hold, or is not there', () => {
    expect(roll('0165012000760')).toBeUndefined()
    expect(roll('00000120007604')).toBeUndefined()
    expect(roll('01650120007624')).toBeUndefined()
    expect(rollFrom8001([])).toBeUndefined()
  })
})
