// Templates as somebody writes them, and texts as labels carry them.
import fc from 'fast-check'
import { compileTemplate } from '../../../src/codes/index.ts'
import { limits } from '../../../src/kernel/limits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const piece = fc.oneof(
  fc.constantFrom(
    '{job}',
    '{design}',
    '{design:3}',
    '{print:2}',
    '{serial:6d}',
    '{serial:d}',
    '{serial}',
    '{_}',
    '{_:2}',
    '{_:1d}',
    '{design:200}',
    '{design:999d}',
    '{{',
    '}}',
    '/',
    '-',
    'a',
    'ab',
    '0123456789',
    '{',
    '}',
    '{:}',
    '{x}',
  ),
  hostileText,
)
const template = fc.oneof(
  { weight: 8, arbitrary: fc.array(piece, { maxLength: 8 }).map((pieces) => pieces.join('')) },
  { weight: 4, arbitrary: fc.array(piece, { maxLength: 3 }).map((pieces) => ['{design}', ...pieces].join('/')) },
  {
    weight: 2,
    arbitrary: fc
      .shuffledSubarray(['{design}', '{serial}', '{print}', '{serial:3d}', '{_}'], { minLength: 2 })
      .map((fields) => fields.join('')),
  },
  { weight: 1, arbitrary: longText },
  // Literals that nearly repeat themselves are what a careless search falls over.
  {
    weight: 3,
    arbitrary: fc
      .tuple(fc.nat(120), fc.nat(6))
      .map(([length, fields]) => `{design}${'a'.repeat(length)}b${'{_}a'.repeat(fields)}`),
  },
)
const text = fc.oneof(
  hostileText,
  longText,
  fc
    .array(fc.constantFrom('a', 'b', '/', '-', 'J', '1', '0', '{', '😀', '\u001d'), { maxLength: 220 })
    .map((units) => units.join('')),
  fc.nat(220).map((length) => `${'a'.repeat(length)}b`),
)

export const templatesTarget = defineTarget({
  name: 'templates',
  module: import.meta.url,
  about: 'template, job and texts: a coded refusal, or a matcher that never throws and names only what the text holds',
  bounds: { caseCpuMsMax: 1_000, growthMiBMax: 128 },
  cases: { short: 1_000, long: 10_000 },
  arbitrary: fc.record({
    template,
    job: fc.oneof(fc.constant('J'), hostileText),
    texts: fc.array(text, { maxLength: 12 }),
    designs: fc.array(fc.oneof(hostileText, longText, fc.constant('mango')), { maxLength: 3 }),
  }),
  meets: ['taken', 'template-syntax', 'template-field', 'template-ambiguous'],
  async open() {
    return {
      run: ({ template: written, job, texts, designs }) =>
        answerOf(() => {
          const rule = compileTemplate(written, { job, symbologies: ['qr'] })
          for (const one of texts) {
            const named = rule.match(one)
            if (named === undefined) continue
            holds(Buffer.byteLength(one) <= limits.codeBytesMax, 'a text over the limit matches nothing')
            for (const value of Object.values(named))
              holds(value !== '' && one.includes(value), 'a value stands in the text')
            const reason = rule.canName({ design: named.design, ...(named.print ? { print: named.print } : {}) })
            const hasDigits = /\d{10}/.test(written)
            holds(reason === undefined || hasDigits, `what was read can be named, but: ${reason}`)
          }
          for (const design of designs) rule.canName({ design, print: design })
        }),
      close: async () => undefined,
    }
  },
})
