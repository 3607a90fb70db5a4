// Codes that are written are read again by their own rule, as the identity they were written for.
import fc from 'fast-check'
import { expect, it } from 'vitest'
import { compileGs1 } from './gs1/gs1-rule.ts'
import { compileTemplate } from './template.ts'
import { templateWriter, writeGs1 } from './write-code.ts'

it('writes texts that the template reads as what was written', () => {
  for (const template of [
    '{job}-{design}.{print:2}/{serial:6d}',
    '{print:2}{design}#{serial:d}',
    '{_:3}{design:4}{serial:9}',
  ]) {
    const rule = compileTemplate(template, { job: 'J7', symbologies: ['qr'] })
    const write = templateWriter(template, 'J7')
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 999_999 }), fc.constantFrom('LIME', 'PLUM'), (number, design) => {
        const text = write({ design, print: '02', serial: String(number) })
        const read = rule.match(text)
        expect(read).toMatchObject({ design, ...(rule.carries.print ? { print: '02' } : {}) })
        expect(Number(read?.serial)).toBe(number)
      }),
    )
  }
})

it('writes element strings that the GS1 rule reads as what was written, shorter GTINs among them', () => {
  // GTINs of the demonstration prefix 952; the check digits are right (from memory: GS1 General Specifications, mod 10).
  const designs = ['09521234000013', '9521234000020']
  const ais = { design: '01', print: '22', serial: '21' }
  const rule = compileGs1({ symbologies: ['data-matrix'], ...ais, designs })
  for (const design of designs) {
    const named = { design, print: '02', serial: 'A17' }
    expect(rule.match(writeGs1(ais, named), ']d2')).toEqual(named)
  }
})
