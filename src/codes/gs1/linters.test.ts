// The checks on components: values from the public tests of the dictionary's linters (gs1/gs1-syntax-dictionary), others as marked.
import { describe, expect, it } from 'vitest'
import { countryLists } from './code-lists.ts'
import { checkPair } from './lint-sums.ts'
import { cset64 } from './lint-values.ts'
import { type LinterName, linters } from './linters.ts'

interface Case {
  readonly pass: readonly string[]
  /** Each with the offset that the fault points at. */
  readonly fail: readonly (readonly [value: string, at: number])[]
}

const coupon = '012345612345611110123'

const cases: Readonly<Record<LinterName, Case>> = {
  csum: {
    pass: [
      '02345673',
      '416000336108',
      '1234567890128',
      '12345678901231',
      '123456789012345675',
      '6291041500213',
      '7300011000017',
    ],
    fail: [
      ['12345673', 7],
      ['1234567890129', 12],
    ],
  },
  csumalpha: {
    pass: [
      '22',
      '!22',
      '!!22',
      '1987654Ad4X4bL5ttr2310c2K',
      '12345678901234567890123NT',
      '12345_ABCDEFGHIJKLMCP',
      '99999zzzzzzzzzzzzzzzzzzT2',
      '7907665Bm8v2AB',
      '57453Uq3qA<H67',
    ],
    fail: [
      ['', 0],
      ['2', 0],
      ['33', 0],
      ['1987654Ad4X4bL5ttr2310cXK', 23],
      ['1987654Ad4X4bL5ttr2310c2X', 23],
      ['12345678901234567890123N ', 23],
    ],
  },
  gcppos1: {
    pass: ['0123', '01234', '0123A'],
    fail: [
      ['012', 3],
      ['', 0],
      ['012A', 3],
      ['A123', 0],
    ],
  },
  gcppos2: {
    pass: ['10123', 'A0123'],
    fail: [
      ['1012', 4],
      ['1A123', 1],
    ],
  },
  yymmd0: {
    pass: ['000606', '990606', '200131', '200229', '000229', '960229', '200600'],
    fail: [
      ['200010', 2],
      ['201310', 2],
      ['200132', 4],
      ['200230', 4],
      ['210229', 4],
      ['200431', 4],
    ],
  },
  yymmdd: {
    pass: ['200131', '200229', '210228'],
    fail: [
      ['200600', 4],
      ['209910', 2],
    ],
  },
  yyyymmdd: {
    pass: ['19200131', '20200229', '24000229', '21000228'],
    fail: [
      ['21000229', 6],
      ['20201310', 4],
      ['20200600', 6],
    ],
  },
  hh: { pass: ['00', '23'], fail: [['24', 0]] },
  mi: { pass: ['00', '59'], fail: [['60', 0]] },
  ss: { pass: ['00', '59'], fail: [['60', 0]] },
  hhmi: {
    pass: ['0000', '2359'],
    fail: [
      ['2400', 0],
      ['2360', 2],
    ],
  },
  iban: {
    pass: [
      'FR7630006000011234567890189',
      'DE91100000000123456789',
      'MU43BOMM0101123456789101000MUR',
      'GB98MIDL07009312345678',
      'BE71096123456769',
      'LC14BOSL123456789012345678901234',
    ],
    fail: [
      ['', 0],
      ['BE71', 0],
      ['BE71096123456760', 2],
      ['LC14BOSLxx3456789012345678901230', 8],
      ['XX361234567890', 0],
    ],
  },
  importeridx: {
    pass: ['-', '0', '9', 'A', 'Z', '_', 'a', 'z'],
    fail: [
      ['!', 0],
      ['.', 0],
      ['AA', 0],
      ['', 0],
    ],
  },
  iso3166: {
    pass: ['004', '276', '894'],
    fail: [
      ['000', 0],
      ['999', 0],
    ],
  },
  iso3166999: { pass: ['276', '999'], fail: [['998', 0]] },
  iso3166alpha2: {
    pass: ['AD', 'ZW', 'DE'],
    fail: [
      ['XX', 0],
      ['de', 0],
      ['ZZ', 0],
    ],
  },
  iso4217: {
    pass: ['008', '036', '978', '999'],
    fail: [
      ['000', 0],
      ['010', 0],
    ],
  },
  iso5218: { pass: ['0', '1', '2', '9'], fail: [['3', 0]] },
  latitude: { pass: ['0279085848', '0000000000', '1800000000'], fail: [['1800000001', 0]] },
  longitude: { pass: ['0000000000', '3600000000'], fail: [['3600000001', 0]] },
  mediatype: {
    pass: ['01', '10', '80', '99'],
    fail: [
      ['00', 0],
      ['11', 0],
      ['79', 0],
    ],
  },
  nonzero: { pass: ['0001', '1'], fail: [['0000', 0]] },
  zero: { pass: ['0', '00'], fail: [['1', 0]] },
  nozeroprefix: {
    pass: ['1', '10', '1234567890'],
    fail: [
      ['0', 0],
      ['01', 0],
    ],
  },
  hasnondigit: { pass: ['1A', '/'], fail: [['123', 0]] },
  hyphen: { pass: ['-', '--'], fail: [['+', 0]] },
  packagetype: {
    pass: ['1A', '200', '8', 'APE', 'AT', 'ZZ'],
    fail: [
      ['0', 0],
      ['0000', 0],
      ['_9', 0],
    ],
  },
  pcenc: {
    pass: ['', 'A', '%00', '%Ff', 'ABC%20XYZ'],
    fail: [
      ['%fg', 0],
      ['%g', 0],
      ['ABC%gXYZ', 3],
      ['AB%2', 2],
      ['%20%', 3],
    ],
  },
  pieceoftotal: {
    pass: ['11', '89', '0101', '9899', '998999'],
    fail: [
      ['0001', 0],
      ['0100', 2],
      ['0908', 0],
      ['1110', 0],
    ],
  },
  posinseqslash: {
    pass: ['1/1', '9/10', '10/10', '998/999'],
    fail: [
      ['/', 0],
      ['1//2', 0],
      ['0/1', 0],
      ['1/02', 0],
      ['10/9', 0],
      ['101/100', 0],
    ],
  },
  winding: { pass: ['0', '1', '9'], fail: [['2', 0]] },
  yesno: { pass: ['0', '1'], fail: [['2', 0]] },
  couponcode: {
    // The first two from the public tests, the others put together from the fields that the guideline names.
    pass: [
      coupon,
      '1123456712345611110123',
      `${coupon}13111123012345621111230123456`,
      `${coupon}32402294240101`,
      `${coupon}5012345661123456791001`,
    ],
    fail: [
      ['a12345612345611110123', 0],
      ['0123456123456', 13],
      ['71234567890123', 0],
      ['012345', 1],
      ['01234561234560', 13],
      [`${coupon}8`, 21],
      [`${coupon}14`, 22],
      [`${coupon}3241301`, 24],
      [`${coupon}32401014240229`, 22],
      [`${coupon}91003`, 25],
    ],
  },
  couponposoffer: {
    pass: [
      '001234561234560123456',
      '101234561234560123456',
      '001234561234569123456789012345',
      '061234567890121234569123456789012345',
    ],
    fail: [
      ['a01234561234560123456', 0],
      ['', 0],
      ['201234561234560123456', 0],
      ['0', 1],
      ['00', 2],
      ['07', 1],
      ['001234561', 8],
      ['001234561234560', 15],
      ['0012345612345601234567', 21],
    ],
  },
}

describe('the checks that the dictionary names', () => {
  it.each(Object.entries(cases))(
    '%s passes what it should, and points at what it should not',
    (name, { pass, fail }) => {
      const linter = linters[name as LinterName]
      for (const value of pass) expect(linter(value), value).toBeUndefined()
      for (const [value, at] of fail) expect([value, linter(value)?.at]).toEqual([value, at])
    },
  )

  it('name the value and the limit', () => {
    expect(linters.csum('12345673')).toMatchObject({ measured: 3, limit: 0 })
    expect(linters.hhmi('2360')).toMatchObject({ measured: 60, limit: '00 to 59' })
    expect(linters.iban('XX361234567890')).toMatchObject({ measured: 'XX', limit: 'ISO 3166-1 alpha-2' })
    expect(linters.couponposoffer('07')).toMatchObject({ measured: '7', limit: '0, 1, 2, 3, 4, 5, 6' })
  })
})

describe('check characters', () => {
  it('of the example in the General Specifications are those (AI 8013, from memory)', () => {
    expect(checkPair('1987654Ad4X4bL5ttr2310c')).toBe('2K')
  })
})

describe('base64 of AI 8030', () => {
  it.each(['', '1', '12', '123', '12=', '1==', '0123456789-_'])(
    'may be padded to a multiple of three: “%s”',
    (value) => {
      expect(cset64(value)).toBeUndefined()
    },
  )
  it.each(['===', '123=', '12==', '1===', '=', '1=2'])('is not padded otherwise: “%s”', (value) => {
    expect(cset64(value)).toMatchObject({ at: value.indexOf('=') })
  })
})

describe('the country lists', () => {
  it('are the same 249 countries by number and by letters, as ICU has them', () => {
    const byNumber = countryLists.numeric.map((number) => new Intl.Locale(`und-${number}`).region)
    expect(byNumber.toSorted()).toEqual(countryLists.alpha2.toSorted())
    expect(countryLists.alpha2).toHaveLength(249)
  })
})
