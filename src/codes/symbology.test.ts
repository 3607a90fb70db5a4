// Identifiers against symbologies.
import { describe, expect, it } from 'vitest'
import { symbologyFits } from './symbology.ts'

describe('whether an identifier is one of the symbologies', () => {
  it('goes by the letter and leaves the modifier open', () => {
    expect(symbologyFits(['qr'], ']Q1')).toBe(true)
    expect(symbologyFits(['qr'], ']Q3')).toBe(true)
    expect(symbologyFits(['data-matrix', 'code-128'], ']d2')).toBe(true)
    expect(symbologyFits(['qr'], ']d1')).toBe(false)
  })

  it('tells upper case from lower, since e and E are two symbologies', () => {
    expect(symbologyFits(['ean-upc'], ']e0')).toBe(false)
    expect(symbologyFits(['gs1-databar'], ']e0')).toBe(true)
  })

  it('fits all where a sensor names none', () => {
    expect(symbologyFits(['qr'], undefined)).toBe(true)
  })

  it.each(['', 'Q1', ']Q', ']Q12', ']', ']QQ?', '[Q1'])('does not take %j for an identifier', (identifier) => {
    expect(symbologyFits(['qr'], identifier)).toBe(false)
  })
})
