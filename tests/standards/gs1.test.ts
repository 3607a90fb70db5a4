// GS1 against the outside: values of public sources, each AI of the dictionary with right and wrong values, and an encoder with rules
// of its own (bwip-js, which is BWIPP) as second opinion.
import bwipjs from 'bwip-js/node'
import { describe, expect, it } from 'vitest'
import { type AiEntry, aiEntries } from '../../src/codes/gs1/ai-dictionary.ts'
import { valueFault } from '../../src/codes/gs1/check.ts'
import { type ReadOptions, readGs1 } from '../../src/codes/gs1/read.ts'
import { rollFrom8001 } from '../../src/codes/gs1/roll.ts'
import { randomFrom } from '../drawn-symbols.ts'
import { rightElements, writeBracketed, writeDigitalLink, writeElementString } from '../fixtures/gs1-texts.ts'
import { rightValue, tooLong, wrongValues } from '../fixtures/gs1-values.ts'

const gs = '\u001d'

/** The elements as the public sources write them, a caret before every element that is led by FNC1. */
const elementsOf = (text: string, options: ReadOptions = {}) => {
  const reading = readGs1(text, options)
  return reading.ok ? reading.elements.map(({ ai, value }) => `(${ai})${value}`).join('') : `${reading.fault.rule}`
}

describe('check digits', () => {
  const gtinOf = (digits: string) => elementsOf(`(01)${digits.padStart(14, '0')}`, { human: true })

  it.each(['6291041500213', '7300011000017'])('are those of the examples on GS1 web pages: %s', (gtin) => {
    expect(gtinOf(gtin)).toBe(`(01)0${gtin}`)
  })

  it.each(['02345673', '416000336108', '1234567890128', '12345678901231'])(
    'pass as in the public linter tests: %s',
    (gtin) => {
      expect(gtinOf(gtin)).toBe(`(01)${gtin.padStart(14, '0')}`)
    },
  )

  it.each(['12345673', '1234567890129'])('fail as in the public linter tests: %s', (gtin) => {
    expect(gtinOf(gtin)).toBe('csum')
  })

  it('pass for 18 digits as in the public linter tests', () => {
    expect(elementsOf('00123456789012345675')).toBe('(00)123456789012345675')
  })
})

describe('scan data (public tests of the GS1 syntax engine)', () => {
  const data = `011231231231233310ABC123${gs}99TESTING`
  const elements = '(01)12312312312333(10)ABC123(99)TESTING'

  it.each([']Q3', ']d2', ']C1', ']e0', ']J1'])('is an element string behind %s', (identifier) => {
    expect(elementsOf(identifier + data)).toBe(elements)
    expect(elementsOf(data, { identifier })).toBe(elements)
  })

  it('is none behind a bare ]Q3, and behind ]Q1 and ]d1 plain data is', () => {
    expect(elementsOf(']Q3')).toBe('empty')
    expect(elementsOf(']Q1TESTING')).toBe('plain-data')
    expect(elementsOf(`]d1${data}`)).toBe('plain-data')
  })

  it.each([
    ['^0112345678901231^', '(01)12345678901231'],
    ['^0112345678901234', 'csum'],
    ['^2421234567', 'length'],
    ['^800112341234512398', '(8001)12341234512398'],
  ])('%s is %s where other codes may complete it', (text, expected) => {
    expect(elementsOf(text, { human: true, pairs: 'ignored' })).toBe(expected)
  })

  it('describes a roll by AI 8001 (General Specifications, from memory; value of the public tests)', () => {
    const reading = readGs1('^011234567890123121A^800112341234512398', { human: true })
    const roll = reading.ok ? rollFrom8001(reading.elements) : undefined
    expect(roll).toEqual({ widthMm: 1234, lengthM: 12345, coreMm: 123, winding: 'undefined', splices: 8 })
  })
})

describe('separators', () => {
  it('are needed behind every AI but those that the standard predefines', () => {
    const listed = /^(0[0-3]|1[1-3]|1[5-7]|20|3[1-6][0-9]{2}|41[0-7])$/
    expect(aiEntries.filter(({ predefined }) => predefined).map(({ ai }) => ai)).toEqual(
      aiEntries.map(({ ai }) => ai).filter((ai) => listed.test(ai)),
    )
  })
})

describe('Digital Links (public tests of the GS1 syntax engine, examples of the standard among them)', () => {
  it.each([
    ['https://id.gs1.org/01/12312312312326/21/abc123', '(01)12312312312326(21)abc123'],
    ['https://example.com/01/12312312312333/10/ABC123/21/XYZ?99=XYZ', '(01)12312312312333(10)ABC123(21)XYZ(99)XYZ'],
    ['http://a/00/006141411234567890', '(00)006141411234567890'],
    ['HTTP://a/00/006141411234567890', '(00)006141411234567890'],
    ['HTTPS://a/00/006141411234567890', '(00)006141411234567890'],
    ['https://3232235777/01/12312312312333', '(01)12312312312333'],
    ['https://a/more/stem/00/006141411234567890', '(00)006141411234567890'],
    ['https://a/00/faux/00/006141411234567890', '(00)006141411234567890'],
    ['https://a/01/12312312312333/22/TEST/10/ABC/21/XYZ', '(01)12312312312333(22)TEST(10)ABC(21)XYZ'],
    ['https://a/253/1231231231232TEST5678901234567', '(253)1231231231232TEST5678901234567'],
    ['https://a/8018/123456789012345675/8019/123', '(8018)123456789012345675(8019)123'],
    ['https://a/stem/401/12345678?99=ABC', '(401)12345678(99)ABC'],
    ['https://a/01/12312312312333?&&&99=ABC&&&&&&98=XYZ&&&', '(01)12312312312333(99)ABC(98)XYZ'],
    [
      'https://a/01/12312312312333?singleton1&unknown1=555&99=ABC&singleton2&98=XYZ',
      '(01)12312312312333(99)ABC(98)XYZ',
    ],
    ['https://a/01/12312312312333/22/ABC%2d123?99=ABC&98=XYZ%2f987', '(01)12312312312333(22)ABC-123(99)ABC(98)XYZ/987'],
    ['https://a/01/12312312312333/22/ABC+123?99=ABC', '(01)12312312312333(22)ABC+123(99)ABC'],
    ['https://a/stem/00/006141411234567890?99=ABC#fragment', '(00)006141411234567890(99)ABC'],
    ['https://brand.example.com/some-extra/pathinfo/01/9520123456788', '(01)09520123456788'],
    [
      'https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426',
      '(01)09520123456788(10)ABC1(21)12345(17)180426',
    ],
    [
      'https://example.com/01/9520123456788?3103=000195&3922=0299&17=201225',
      '(01)09520123456788(3103)000195(3922)0299(17)201225',
    ],
    [
      'https://id.gs1.org/00/952012345678912345?02=09520123456788&37=25&10=ABC123',
      '(00)952012345678912345(02)09520123456788(37)25(10)ABC123',
    ],
    ['https://id.gs1.org/414/9520123456788/254/32a%2Fb', '(414)9520123456788(254)32a/b'],
    ['https://example.com/8004/9520614141234567?01=9520123456788', '(8004)9520614141234567(01)09520123456788'],
    ['https://id.gs1.org/01/09520123456788/235/XYZ?10=ABC123', '(01)09520123456788(235)XYZ(10)ABC123'],
  ])('%s holds %s', (text, elements) => {
    expect(elementsOf(text)).toBe(elements)
    expect(elementsOf(text, { identifier: ']Q1' })).toBe(elements)
  })

  it.each([
    ['HtTp://a/b/00/006141411234567890', 'scheme'],
    ['http://', 'host'],
    ['http:///', 'host'],
    ['http://a', 'key'],
    ['http://a/b/', 'key'],
    ['https://00/006141411234567890', 'key'],
    ['https://[fe80::1%25lo]/01/12312312312333', 'host'],
    ['https://a/gtin/12312312312333', 'key'],
    ['https://a/253/1231231231232TEST56789012345678', 'length'],
    ['https://a/stem/00/006141411234567890/', 'key'],
    ['https://a/01/12312312312333?99=', 'length'],
    ['https://a/01/12312312312333?99=ABC&999=faux', 'ai'],
    ['https://a/01/12312312312333/22/ABC%2d123?99=ABC&98=XYZ+987', 'cset82'],
    ['https://example.com/01/09520123456788?10=ABC123', 'attribute'],
    ['https://id.gs1.org/01/09520123456788/10/ABC123?99=XYZ789&01=09520123456788', 'repeat'],
    ['https://id.gs1.org/01/09520123456788/10/ABC123?99=XYZ789&99=XYZ789', 'repeat'],
    ['https://example.com/01/09520123456788/89/ABC123?99=XYZ', 'key'],
    ['https://example.com/01/09520123456788?99=XYZ&89=ABC123', 'ai'],
  ])('%s is refused (%s)', (text, rule) => {
    expect(elementsOf(text)).toBe(rule)
  })
})

describe('every AI of the dictionary', () => {
  const sizes = ['least', 'most', 'any'] as const

  it('passes with right values, in every way to write it', () => {
    const random = randomFrom(41)
    let [texts, links] = [0, 0]
    for (const { ai } of aiEntries) {
      for (const size of sizes) {
        const elements = rightElements([ai], size, random)!
        const link = writeDigitalLink(elements)
        const plain = elements.map((element) => `(${element.ai})${element.value}`).join('')
        expect(elementsOf(writeElementString(elements))).toBe(plain)
        expect(elementsOf(writeBracketed(elements), { human: true })).toBe(plain)
        if (link)
          expect(elementsOf(link.text)).toBe(link.elements.map((element) => `(${element.ai})${element.value}`).join(''))
        texts += link ? 3 : 2
        links += link ? 1 : 0
      }
    }
    console.log(`right values: ${texts} texts of ${aiEntries.length} AIs, ${links} Digital Links among them`)
    expect(links).toBeGreaterThan(1_000)
  })

  it('fails with each wrong value under the name of the rule that it breaks, at a place in that value', () => {
    const random = randomFrom(42)
    const seen = new Map<string, number>()
    for (const entry of aiEntries) {
      const wrong = [...wrongValues(entry, random), { rule: 'length' as const, value: tooLong(entry, random) }]
      for (const { rule, value } of wrong) {
        const text = writeBracketed([{ ai: entry.ai, value }])
        const reading = readGs1(text, { human: true, pairs: 'ignored' })
        const fault = reading.ok ? undefined : reading.fault
        expect([entry.ai, value, fault?.rule, fault?.ai]).toEqual([entry.ai, value, rule, entry.ai])
        expect(fault!.position).toBeGreaterThanOrEqual(text.length - value.length)
        expect(fault!.position).toBeLessThanOrEqual(text.length)
        expect(fault!.measured).toBeDefined()
        expect(fault!.limit).toBeDefined()
        seen.set(rule, (seen.get(rule) ?? 0) + 1)
      }
    }
    console.log(`wrong values: ${[...seen].map(([rule, count]) => `${rule} ${count}`).join(', ')}`)
    const named = new Set(aiEntries.flatMap(({ parts }) => parts.flatMap(({ linters }) => linters)))
    // A prefix behind the first digit is checked in numbers only, where nothing but digits can stand.
    expect([...named].filter((name) => !seen.has(name))).toEqual(['gcppos2'])
  })

  it('fails without what it needs and beside what it bars', () => {
    const random = randomFrom(43)
    for (const entry of aiEntries) {
      const value = rightValue(entry, 'any', random)
      const alone = elementsOf(writeElementString([{ ai: entry.ai, value }]))
      expect([entry.ai, alone]).toEqual([entry.ai, entry.needs.length > 0 ? 'req' : `(${entry.ai})${value}`])
      for (const other of entry.bars) {
        const barred = [entry, aiEntries.find(({ ai }) => ai === other)!].map((one) => ({
          ai: one.ai,
          value: rightValue(one, 'least', random),
        }))
        const reading = readGs1(writeElementString(barred), { pairs: 'enforced' })
        expect(reading).toMatchObject({ ok: false, fault: { rule: 'ex', ai: entry.ai, position: 0, measured: other } })
      }
    }
  })
})

describe('a second opinion (bwip-js)', () => {
  // Where the two stand apart on purpose: BWIPP holds two digits for the shortest company prefix, a lone 0 for a serial of AI 8011, and
  // does not know AI 03 among what other AIs need.
  const differs = (rule: string, value: string): boolean =>
    (rule === 'gcppos1' && /^952(A|$)/.test(value)) || (rule === 'nozeroprefix' && value === '0')

  const accepts = (text: string): boolean => {
    try {
      bwipjs.raw({ bcid: 'gs1datamatrix', text } as Parameters<typeof bwipjs.raw>[0])
      return true
    } catch (error) {
      expect(String(error)).toMatch(/^Error: bwipp\.\w+#\d+: .*\bAIs?\b/)
      return false
    }
  }

  /** One AI of each kind: ranges differ in their last digit only. */
  const kinds = aiEntries.filter(
    (entry, index) =>
      aiEntries.findIndex(({ parts, needs }) => parts === entry.parts && needs === entry.needs) === index,
  )

  const elementsWithout03 = (entry: AiEntry, random: () => number) => {
    for (;;) {
      const elements = rightElements([entry.ai], 'any', random)!
      if (entry.ai === '03' || !elements.some(({ ai }) => ai === '03')) return elements
    }
  }

  it('accepts what passes here, and refuses what fails here', () => {
    const random = randomFrom(44)
    let [right, wrong] = [0, 0]
    for (const entry of kinds) {
      const elements = elementsWithout03(entry, random)
      const text = writeBracketed(elements)
      expect([text, accepts(text)]).toEqual([text, true])
      right++
      for (const { rule, value } of wrongValues(entry, random)) {
        if (differs(rule, value)) continue
        expect(valueFault(entry, value)?.rule).toBe(rule)
        const spoiled = writeBracketed([{ ai: entry.ai, value }, ...elements.slice(1)])
        expect([spoiled, accepts(spoiled)]).toEqual([spoiled, false])
        wrong++
      }
    }
    console.log(`second opinion: agrees on ${right} right and ${wrong} wrong texts of ${kinds.length} kinds of AI`)
  })
})
