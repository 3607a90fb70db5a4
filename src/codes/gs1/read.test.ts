// Which syntax a text is in, and what element strings and bracketed texts hold.
import { describe, expect, it } from 'vitest'
import { limits } from '../../kernel/limits.ts'
import { type Gs1Reading, type ReadOptions, readGs1 } from './read.ts'

const gs = '\u001d'
const gtin = '0109521234543213'

const read = (text: string, options: ReadOptions = {}): Gs1Reading => readGs1(text, options)
const faultOf = (text: string, options: ReadOptions = {}) => {
  const reading = read(text, options)
  return reading.ok ? undefined : reading.fault
}
const pairsOf = (text: string, options: ReadOptions = {}) => {
  const reading = read(text, options)
  return reading.ok ? reading.elements.map(({ ai, value }) => `${ai} ${value}`) : reading.fault
}

describe('an element string', () => {
  it('is cut at separators, and behind values of predefined length without any', () => {
    const reading = read(`${gtin}1726123110ABC${gs}21XYZ`, { identifier: ']C1' })
    expect(reading).toEqual({
      ok: true,
      syntax: 'element-string',
      elements: [
        { ai: '01', value: '09521234543213', position: 0 },
        { ai: '17', value: '261231', position: 16 },
        { ai: '10', value: 'ABC', position: 24 },
        { ai: '21', value: 'XYZ', position: 30 },
      ],
    })
  })

  it('counts positions from the start of the text, an identifier in it included', () => {
    expect(read(`]d2${gtin}`)).toMatchObject({ elements: [{ ai: '01', position: 3 }] })
  })

  it('may have a separator behind a value of predefined length, and one at its end', () => {
    expect(pairsOf(`${gtin}${gs}10ABC${gs}`)).toEqual(['01 09521234543213', '10 ABC'])
  })

  it('may not have two separators in a row', () => {
    expect(faultOf(`${gtin}10ABC${gs}${gs}21X`)).toMatchObject({ rule: 'separator', position: 22 })
    expect(faultOf(`${gtin}${gs}${gs}`)).toMatchObject({ rule: 'separator', position: 17 })
  })

  it('may begin with a separator where no identifier stands for FNC1 in first position', () => {
    expect(pairsOf(`${gs}${gtin}`)).toEqual(['01 09521234543213'])
    expect(faultOf(`${gs}${gtin}`, { identifier: ']Q3' })).toMatchObject({ rule: 'separator', position: 0 })
    expect(faultOf(`${gs}${gs}${gtin}`)).toMatchObject({ rule: 'separator', position: 1 })
  })

  it('ends a value of predefined length early at a separator, which makes it too short', () => {
    expect(faultOf(`0109521234${gs}10ABC`)).toMatchObject({
      ai: '01',
      rule: 'length',
      position: 10,
      measured: 8,
      limit: '14',
    })
  })

  it('takes an AI of fixed length that is not predefined to the next separator', () => {
    expect(faultOf(`${gtin}42227610ABC`)).toMatchObject({ ai: '422', rule: 'length', measured: 8, limit: '3' })
    expect(pairsOf(`${gtin}422276${gs}10ABC`)).toEqual(['01 09521234543213', '422 276', '10 ABC'])
  })

  it.each(['89ABC', '4', '0', 'ABC', '04', '310', '3106000000', '4340'])(
    'begins with an AI that GS1 has: not %s',
    (text) => {
      expect(faultOf(text)).toMatchObject({ rule: 'ai', position: 0, measured: text.slice(0, 4) })
    },
  )

  it('has no caret for FNC1 unless a person wrote it', () => {
    expect(faultOf(`^${gtin}`)).toMatchObject({ rule: 'ai', position: 0 })
    expect(pairsOf(`^${gtin}10AB^21X`, { human: true })).toEqual(['01 09521234543213', '10 AB', '21 X'])
    expect(faultOf(`${gtin}10AB^21X`)).toMatchObject({ ai: '10', rule: 'cset82', position: 20, measured: '^' })
  })
})

describe('a symbology identifier', () => {
  it.each([']C1', ']e0', ']e1', ']e2', ']e3', ']d2', ']Q3', ']J1'])(
    '%s says that an element string follows',
    (identifier) => {
      expect(pairsOf(gtin, { identifier })).toEqual(['01 09521234543213'])
      expect(pairsOf(`${identifier}${gtin}`)).toEqual(['01 09521234543213'])
      expect(faultOf('https://id.gs1.org/01/09521234543213', { identifier })).toMatchObject({ rule: 'ai', position: 0 })
    },
  )

  it.each([']C0', ']C2', ']E0', ']Q0', ']Q1', ']Q4', ']Q5', ']d1', ']d3', ']z0', ']J0'])(
    '%s says plain data: a Digital Link or nothing of GS1',
    (identifier) => {
      expect(faultOf(gtin, { identifier })).toMatchObject({ rule: 'plain-data', position: 0, measured: identifier })
      expect(faultOf(`${identifier}${gtin}`)).toMatchObject({ rule: 'plain-data', position: 3 })
      expect(pairsOf('https://id.gs1.org/01/09521234543213', { identifier })).toEqual(['01 09521234543213'])
      expect(read(`${identifier}https://a/01/09521234543213`)).toMatchObject({
        syntax: 'digital-link',
        elements: [{ position: 13 }],
      })
    },
  )

  it.each(['Q3', ']Q', ']Q33', '', ']é1'])('“%s” is none', (identifier) => {
    expect(faultOf(gtin, { identifier })).toMatchObject({ rule: 'identifier' })
  })

  it('needs elements behind it', () => {
    expect(faultOf(']Q3')).toMatchObject({ rule: 'empty', position: 3 })
    expect(faultOf('', { identifier: ']Q3' })).toMatchObject({ rule: 'empty', position: 0 })
    expect(faultOf('')).toMatchObject({ rule: 'empty' })
    expect(faultOf(gs)).toMatchObject({ rule: 'empty', position: 1 })
  })
})

describe('a bracketed text', () => {
  const human = { human: true }

  it('is read where a person wrote it, and never from a symbol', () => {
    expect(read('(01)09521234543213(10)ABC', human)).toEqual({
      ok: true,
      syntax: 'bracketed',
      elements: [
        { ai: '01', value: '09521234543213', position: 1 },
        { ai: '10', value: 'ABC', position: 19 },
      ],
    })
    expect(faultOf('(01)09521234543213')).toMatchObject({ rule: 'ai', position: 0 })
    expect(faultOf('(01)09521234543213', { human: true, identifier: ']Q1' })).toMatchObject({ rule: 'plain-data' })
  })

  it('writes a bracket in a value with a backslash', () => {
    expect(pairsOf('(01)09521234543213(10)A\\(21)B\\)', human)).toEqual(['01 09521234543213', '10 A(21)B)'])
    expect(faultOf('(01)09521234543213(10)A\\B', human)).toMatchObject({ rule: 'cset82', position: 23 })
    expect(faultOf('(01)09521234543213(10)\\(^', human)).toMatchObject({ rule: 'cset82', position: 24, measured: '^' })
  })

  it('has spaces between its elements for the eye, and none within', () => {
    expect(pairsOf(' (01) 09521234543213  (10) ABC ', human)).toEqual(['01 09521234543213', '10 ABC'])
    expect(faultOf('(01)0952123 4543213', human)).toMatchObject({ ai: '01', rule: 'length' })
    expect(faultOf('(01)09521234543213(10)A C', human)).toMatchObject({ rule: 'cset82', position: 23, measured: ' ' })
  })

  it.each([
    ['(01', 'bracket', 0],
    ['(01)09521234543213)x', 'length', 18],
    ['(1)09521234543213', 'ai', 1],
    ['()09521234543213', 'ai', 1],
    ['(3106)000000', 'ai', 1],
    ['(10)(01)09521234543213', 'length', 4],
    ['(01)09521234543213(', 'bracket', 18],
  ])('refuses %s', (text, rule, position) => {
    expect(faultOf(text, human)).toMatchObject({ rule, position })
  })
})

describe('any text', () => {
  it('over the limit of bytes is refused before it is looked at', () => {
    expect(faultOf(`99${'A'.repeat(limits.codeBytesMax - 1)}`)).toMatchObject({
      rule: 'text-bytes',
      measured: 201,
      limit: 200,
    })
    expect(faultOf(`99${'é'.repeat(100)}`)).toMatchObject({ rule: 'text-bytes', measured: 202 })
    expect(pairsOf(`99${'A'.repeat(90)}${gs}98${'A'.repeat(90)}`)).toHaveLength(2)
  })

  it('names the component at fault by its place in the text', () => {
    expect(faultOf('(00)095212345432132128', { human: true })).toMatchObject({
      ai: '00',
      rule: 'csum',
    })
    expect(faultOf(`${gtin}70032601312460`)).toMatchObject({
      ai: '7003',
      rule: 'hhmi',
      position: 26,
      measured: 24,
      limit: '00 to 23',
    })
    expect(faultOf(`${gtin}800101650120007664`)).toMatchObject({
      ai: '8001',
      rule: 'winding',
      position: 32,
      measured: '6',
    })
  })
})

describe('elements beside each other', () => {
  it('need what the dictionary asks for', () => {
    expect(faultOf('10ABC')).toMatchObject({
      ai: '10',
      rule: 'req',
      position: 0,
      measured: '10',
      limit: '01, 02, 03, 8006, 8026',
    })
    expect(faultOf(`${gtin}250X`)).toMatchObject({ ai: '250', rule: 'req', limit: '01+21, 03+21, 8006+21' })
    expect(pairsOf(`${gtin}250X${gs}21Y`)).toHaveLength(3)
    expect(pairsOf('10ABC', { pairs: 'ignored' })).toEqual(['10 ABC'])
  })

  it('are patterns where the dictionary says so', () => {
    expect(faultOf(`${gtin}39200299`)).toMatchObject({ ai: '3920', rule: 'req' })
    expect(pairsOf(`${gtin}310300019539200299`)).toHaveLength(3)
  })

  it('may not be there where another bars them, while an AI does not bar itself', () => {
    expect(faultOf(`${gtin}3712`)).toMatchObject({ ai: '01', rule: 'ex', position: 0, measured: '37' })
    expect(faultOf(`${gtin}31030001953102000195`)).toMatchObject({ ai: '3103', rule: 'ex', measured: '3102' })
    expect(pairsOf(`${gtin}31030001953103000195`)).toHaveLength(3)
  })

  it('may say the same twice, and not two things', () => {
    expect(pairsOf(`${gtin}10A${gs}10A`)).toEqual(['01 09521234543213', '10 A', '10 A'])
    expect(faultOf(`${gtin}10A${gs}10B`)).toMatchObject({
      ai: '10',
      rule: 'repeat',
      position: 20,
      measured: 'B',
      limit: 'A',
    })
  })
})
