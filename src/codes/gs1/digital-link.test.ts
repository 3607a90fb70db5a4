// GS1 Digital Link URIs, beyond the values of the public sources (tests/standards).
import { describe, expect, it } from 'vitest'
import { readGs1 } from './read.ts'

const gtin = '12312312312333'
const base = `https://a/01/${gtin}`

const pairsOf = (text: string) => {
  const reading = readGs1(text)
  return reading.ok ? reading.elements.map(({ ai, value }) => `${ai} ${value}`) : reading.fault
}

/** The fault of a text, which has to point where the mark ¦ stands. */
function faultAt(marked: string) {
  const position = marked.indexOf('¦')
  const reading = readGs1(marked.replace('¦', ''))
  const fault = reading.ok ? undefined : reading.fault
  expect([marked, fault?.position]).toEqual([marked, position])
  return fault
}

describe('the host of a Digital Link', () => {
  it.each([
    'id.gs1.org',
    'a',
    'xn--fsq.xn--0zwm56d',
    'a.',
    'a:65535',
    'a:',
    '192.0.2.1',
    '[2001:db8::1]',
    '[2001:db8::1]:8080',
    'my_shop.example',
  ])('may be %s', (host) => {
    expect(pairsOf(`https://${host}/01/${gtin}`)).toEqual([`01 ${gtin}`])
  })

  it.each([
    '¦',
    '¦user@a',
    '¦user:secret@a:80',
    'a:¦65536',
    '¦a:x',
    '¦$a',
    '¦%61',
    '¦[fe80::1%25lo]',
    '¦bücher.example',
  ])('may not be “%s”', (host) => {
    expect(faultAt(`https://${host}/01/${gtin}`)).toMatchObject({ rule: 'host' })
  })
})

describe('the path of a Digital Link', () => {
  it('may begin with anything, AIs that are no key of this link included', () => {
    expect(pairsOf(`https://a/shop//01/x/21/${gtin}/01/${gtin}/21/S`)).toEqual([`01 ${gtin}`, '21 S'])
    expect(pairsOf(`https://a/00/faux/00/006141411234567890`)).toEqual(['00 006141411234567890'])
  })

  it('has its percent-encoding undone, byte by byte', () => {
    expect(pairsOf(`${base}/10/A%2fB%2B%25+C`)).toEqual([`01 ${gtin}`, '10 A/B+%+C'])
    expect(faultAt(`${base}/10/¦%C3%BC`)).toMatchObject({ ai: '10', rule: 'cset82' })
    expect(faultAt(`${base}/10/A¦%20B%00`)).toMatchObject({ ai: '10', rule: 'cset82', measured: ' ' })
    expect(faultAt(`${base}/10/A¦%00B`)).toMatchObject({ ai: '10', rule: 'cset82', measured: '\0' })
  })

  it('points into the encoded text', () => {
    expect(faultAt(`${base}/10/%41%42¦^`)).toMatchObject({ rule: 'uri-character' })
    expect(faultAt(`${base}/10/%41%42¦%5E`)).toMatchObject({ ai: '10', rule: 'cset82' })
    expect(faultAt('https://a/01/%31%3231231231233¦4')).toMatchObject({ ai: '01', rule: 'csum' })
  })

  it.each(['¦%', 'A¦%4', '¦%G0', '¦%0G', '%41¦%'])('is refused where percent-encoding is broken: %s', (value) => {
    expect(faultAt(`${base}/10/${value}`)).toMatchObject({ rule: 'percent' })
  })

  it.each([' ', '"', '<', '>', '\\', '^', '`', '{', '|', '}', 'é', '\u001d', '[', '\ud83d'])(
    'has “%s” in it only percent-encoded',
    (char) => {
      expect(faultAt(`${base}/10/A¦${char}`)).toMatchObject({ rule: 'uri-character', measured: char })
      expect(faultAt(`https://a/stem¦${char}/01/${gtin}`)).toMatchObject({ rule: 'uri-character' })
      expect(faultAt(`${base}?x=¦${char}`)).toMatchObject({ rule: 'uri-character' })
      expect(faultAt(`${base}#¦${char}`)).toMatchObject({ rule: 'uri-character' })
    },
  )

  it('pads a GTIN of 8, 12 or 13 digits, and points at its digits all the same', () => {
    expect(pairsOf('https://a/01/02345673')).toEqual(['01 00000002345673'])
    expect(pairsOf('https://a/01/416000336108')).toEqual(['01 00416000336108'])
    expect(pairsOf('https://a/01/2112345678900')).toEqual(['01 02112345678900'])
    expect(faultAt('https://a/01/0234567¦4')).toMatchObject({ rule: 'csum' })
    expect(faultAt('https://a/01/2345673¦')).toMatchObject({ ai: '01', rule: 'length', measured: 7 })
    expect(faultAt('https://a/8006/02345673¦')).toMatchObject({ ai: '8006', rule: 'length' })
  })

  it.each(['22/A/10/B/21/C', '22/A/21/C', '10/B/21/C', '21/C', '235/T'])('has qualifiers in order: %s', (path) => {
    expect(readGs1(`${base}/${path}`)).toMatchObject({ ok: true })
  })

  it.each([
    ['21/C/¦10/B', '10'],
    ['10/B/¦22/A', '22'],
    ['10/B/¦10/B', '10'],
    ['22/A/¦235/T', '235'],
    ['¦8019/1', '8019'],
    ['10/A/¦99/x', '99'],
  ])('refuses qualifiers in another order, or of another key: %s', (path, ai) => {
    expect(faultAt(`${base}/${path}`)).toMatchObject({ rule: 'qualifier', ai })
  })

  it('says that a key takes no qualifiers at all', () => {
    expect(faultAt('https://a/00/006141411234567890/¦10/A')).toMatchObject({
      rule: 'qualifier',
      ai: '10',
      limit: 'none',
    })
  })

  it.each(['gtin/12312312312333', 'gtin/12312312312333/ser/A'])('has no names that were withdrawn: %s', (path) => {
    expect(faultAt(`https://a¦/${path}`)?.message).toContain('“gtin” in place of an AI was withdrawn')
  })

  it.each(['', '/', '/b', '/b/', '/01', `/01/${gtin}/`, `/21/A`, `/01/${gtin}/x`, `/%30%31/${gtin}`])(
    'ends with a key and its value: not “%s”',
    (path) => {
      expect(faultAt(`https://a¦${path}`)).toMatchObject({ rule: 'key' })
    },
  )

  it('has a value behind its key', () => {
    expect(faultAt('https://a/01/¦')).toMatchObject({ ai: '01', rule: 'length', measured: 0 })
    expect(faultAt(`${base}/10/¦/21/A`)).toMatchObject({ ai: '10', rule: 'length', measured: 0 })
  })
})

describe('the query of a Digital Link', () => {
  it('holds attributes, and other parameters that are passed over', () => {
    const query = 'linkType=gs1:pip&17=261231&utm_x=1;2&lot&3103=000195&x17=0#17=991231'
    expect(pairsOf(`${base}?${query}`)).toEqual([`01 ${gtin}`, '17 261231', '3103 000195'])
    expect(pairsOf(`${base}?`)).toEqual([`01 ${gtin}`])
    expect(pairsOf(`${base}?&&&17=261231&&`)).toEqual([`01 ${gtin}`, '17 261231'])
    expect(pairsOf(`${base}?=5&a=b=c&17`)).toEqual([`01 ${gtin}`])
    expect(pairsOf(`${base}#?17=261231`)).toEqual([`01 ${gtin}`])
  })

  it('has a plus sign for a space, which no value holds', () => {
    expect(faultAt(`${base}?99=A¦+B`)).toMatchObject({ ai: '99', rule: 'cset82', measured: ' ' })
    expect(pairsOf(`${base}?99=A%2BB`)).toEqual([`01 ${gtin}`, '99 A+B'])
  })

  it('refuses AIs that may not stand in it', () => {
    expect(faultAt(`${base}?¦10=A`)).toMatchObject({ ai: '10', rule: 'attribute' })
    expect(faultAt(`${base}?¦8200=A`)).toMatchObject({ ai: '8200', rule: 'attribute' })
    expect(pairsOf(`${base}/235/T?10=A`)).toEqual([`01 ${gtin}`, '235 T', '10 A'])
  })

  it('refuses numbers that are no AI, empty values and AIs that come twice', () => {
    expect(faultAt(`${base}?¦999=A`)).toMatchObject({ rule: 'ai', measured: '999' })
    expect(faultAt(`${base}?99=¦`)).toMatchObject({ ai: '99', rule: 'length', measured: 0 })
    expect(faultAt(`${base}?99=A&¦99=A`)).toMatchObject({ ai: '99', rule: 'repeat' })
    expect(faultAt(`${base}?¦01=${gtin}`)).toMatchObject({ ai: '01', rule: 'repeat' })
  })

  it('refuses a semicolon that may part two attributes or belong to one', () => {
    expect(faultAt(`${base}?99=A¦;98=B`)).toMatchObject({ ai: '99', rule: 'delimiter' })
    expect(faultAt(`${base}?a=b¦;98=B`)).toMatchObject({ ai: '98', rule: 'delimiter' })
    expect(pairsOf(`${base}?a=b;c&98=B`)).toEqual([`01 ${gtin}`, '98 B'])
    expect(pairsOf(`${base}?98=A%3B97=B`)).toEqual([`01 ${gtin}`, '98 A;97=B'])
  })
})
