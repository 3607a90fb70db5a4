// The gs1 rule as a matching rule of a job.
import { describe, expect, it } from 'vitest'
import { Problem } from '../../kernel/problem.ts'
import { compileGs1, type Gs1RuleOptions } from './gs1-rule.ts'

const gs = '\u001d'
const gtin = '09521234543213'

const rule = (options: Partial<Gs1RuleOptions> = {}) => compileGs1({ symbologies: ['qr'], design: '01', ...options })

function problemOf(work: () => unknown) {
  try {
    work()
  } catch (error) {
    if (error instanceof Problem) return error
    throw error
  }
  return undefined
}

describe('the gs1 rule', () => {
  it('takes design, print version and serial from the AIs that it names', () => {
    const full = rule({ print: '20', serial: '21' })
    expect(full.carries).toEqual({ print: true, serial: true })
    expect(full.match(`01${gtin}200210L1${gs}21S1`, ']Q3')).toEqual({ design: gtin, print: '02', serial: 'S1' })
    expect(rule().carries).toEqual({ print: false, serial: false })
    expect(rule().match(`01${gtin}21S1`)).toEqual({ design: gtin })
  })

  it('names the same from an element string and from a Digital Link of the same content', () => {
    const full = rule({ print: '22', serial: '21' })
    const identity = { design: gtin, print: 'P/1', serial: 'S%1' }
    expect(full.match(`01${gtin}22P/1${gs}21S%1`, ']d2')).toEqual(identity)
    expect(full.match(`${gs}01${gtin}21S%1${gs}22P/1`)).toEqual(identity)
    expect(full.match(`https://shop.example/x/01/${gtin}/22/P%2F1/21/S%251?utm=1#top`, ']Q1')).toEqual(identity)
    expect(full.match(`HTTPS://A/01/9521234543213/22/P%2f1/21/S%251`)).toEqual(identity)
  })

  it('is kept by whole texts alone: each AI named is there, and everything else holds too', () => {
    const serial = rule({ serial: '21' })
    expect(serial.match(`01${gtin}`)).toBeUndefined()
    expect(serial.match(`01${gtin}10A`)).toBeUndefined()
    expect(serial.match(`21S1`)).toBeUndefined()
    expect(serial.match(`01${gtin}21S1${gs}17269999`)).toBeUndefined()
    expect(serial.match(`01${gtin}21S1${gs}3712`)).toBeUndefined()
    expect(serial.match(`01${gtin}21S1${gs}`)).toEqual({ design: gtin, serial: 'S1' })
  })

  it('pays heed to the identifier', () => {
    expect(rule().match(`01${gtin}`, ']Q3')).toEqual({ design: gtin })
    expect(rule().match(`01${gtin}`, ']Q1')).toBeUndefined()
    expect(rule().match(`https://a/01/${gtin}`, ']Q3')).toBeUndefined()
    expect(rule().match(`]Q301${gtin}`)).toEqual({ design: gtin })
  })

  it('never matches what only people write', () => {
    expect(rule().match(`(01)${gtin}`)).toBeUndefined()
    expect(rule().match(`^01${gtin}`)).toBeUndefined()
  })

  it('gives the names of designs as the job has them, where they are shorter GTINs', () => {
    const named = rule({ designs: ['9521234543213', '02345673'] })
    expect(named.match(`01${gtin}`)).toEqual({ design: '9521234543213' })
    expect(named.match('https://a/01/00000002345673')).toEqual({ design: '02345673' })
    expect(named.match('0112312312312333')).toEqual({ design: '12312312312333' })
  })

  it('takes any AI for a design', () => {
    const named = rule({ design: '91', serial: '21' })
    expect(named.match(`01${gtin}91mango-250${gs}21S`)).toEqual({ design: 'mango-250', serial: 'S' })
  })
})

describe('what a gs1 rule can name', () => {
  it('is what can be a value of the AI', () => {
    expect(rule().canName({ design: gtin })).toBeUndefined()
    expect(rule({ design: '91' }).canName({ design: 'mango' })).toBeUndefined()
    expect(rule({ print: '20' }).canName({ design: gtin, print: '01' })).toBeUndefined()
  })

  it.each([
    ['01', 'mango', "design “mango” can't be a value of AI (01): its length is 5 and should be 14 (length)"],
    ['01', '09521234543214', 'the check digit is 4 where the digits before it give 3 (csum)'],
    ['01', '9521234543214', '(csum)'],
    ['01', '0952123454321A', '“A” is none of the digits (csetnumeric)'],
    ['91', 'mängo', '“ä” is none of the GS1 character set 82 (cset82)'],
    ['242', '1234567', 'its length is 7 and should be 1 to 6 (length)'],
    ['8010', 'abcd', '(cset39)'],
  ])('says why not: AI %s, “%s”', (ai, design, reason) => {
    expect(rule({ design: ai }).canName({ design })).toContain(reason)
  })

  it('says why not of a print version', () => {
    const reason = rule({ print: '20' }).canName({ design: gtin, print: '1' })
    expect(reason).toBe("print version “1” can't be a value of AI (20): its length is 1 and should be 2 (length)")
  })

  it('names a shorter GTIN where the rule knows the designs, and else says how codes have it', () => {
    expect(rule({ designs: ['9521234543213'] }).canName({ design: '9521234543213' })).toBeUndefined()
    expect(rule().canName({ design: '9521234543213' })).toBe('design “9521234543213” stands in codes as 09521234543213')
  })

  it('says that two names are one GTIN', () => {
    const twice = rule({ designs: [gtin, '9521234543213'] })
    expect(twice.canName({ design: gtin })).toBe(`design “${gtin}” is the same GTIN as design “9521234543213”`)
  })
})

describe('a gs1 rule that no code could keep', () => {
  it.each([
    [{ design: '04' }, '/code/design', 'there is no AI “04”'],
    [{ design: '1' }, '/code/design', 'there is no AI “1”'],
    [{ print: '310' }, '/code/print', 'there is no AI “310”'],
    [{ serial: '01' }, '/code/design', 'is named twice'],
    [{ serial: '255' }, '/code/design', 'may not stand beside (255)'],
    [{ print: '235', serial: '21' }, '/code/serial', 'may not stand beside (235)'],
    [{ symbologies: ['qr', 'ean-upc'] as const }, '/code/symbologies', 'hold no application identifiers'],
  ])('is refused: %j', (options, pointer, message) => {
    const problem = problemOf(() => rule(options))
    expect(problem?.code).toBe('gs1-rule')
    expect(problem?.message).toContain(message)
    expect(problem?.place).toMatchObject({ pointer })
  })
})
