// Cells that a spreadsheet opens as the text that they are, and that a program gets back as it was.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { guardCell, unguardCell } from './spreadsheet-cell.ts'

describe('a guarded cell', () => {
  it.each(['=1+1', '+1', '-1', '@SUM(A1)', '\t=1', '\r=1', '\n=1', '|cmd', '%x', '＝1', '＋1', '－1', '＠A'])(
    'makes no formula of %j',
    (text) => {
      expect(guardCell(text)).toBe(`'${text}`)
    },
  )

  it.each(['00012', '123456789012', '12345678901234567890', '1e5', '1.5E+10', '3/4', '12-05-2026', '1.2.3', '12:30'])(
    'keeps %j from becoming another number or a date',
    (text) => {
      expect(guardCell(text)).toBe(`'${text}`)
    },
  )

  it.each(['', '0', '12', '12345678901', 'QG2608/PLUM/01/000017', 'J7-LIME.01/000003', 'a=b', 'Ωmega', '1 x'])(
    'leaves %j as it is',
    (text) => {
      expect(guardCell(text)).toBe(text)
    },
  )

  it('gives every text back', () => {
    const text = fc.oneof(
      fc.string({ unit: 'binary' }),
      fc.stringMatching(/^['=+@0-9e/.-]{0,16}$/),
      fc.constantFrom("'", "''", "'=1", "''=1"),
    )
    fc.assert(fc.property(text, (given) => unguardCell(guardCell(given)) === given))
  })

  it("leaves another's apostrophe where it is", () => {
    expect(["'tis", "'", 'plain'].map(unguardCell)).toEqual(["'tis", "'", 'plain'])
  })

  it('never begins with what a spreadsheet runs', () => {
    fc.assert(fc.property(fc.string(), (given) => !/^[=+\-@|%\t\r\n＝＋－＠]/.test(guardCell(given))))
  })
})
