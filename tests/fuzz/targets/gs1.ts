// GS1 texts: element strings behind every identifier, Digital Links, brackets, and what only looks like them.
import fc from 'fast-check'
import { aiEntries } from '../../../src/codes/gs1/ai-dictionary.ts'
import { compileGs1, explainGs1, readGs1, rollFrom8001 } from '../../../src/codes/index.ts'
import { limits } from '../../../src/kernel/limits.ts'
import { symbologyLetters } from '../../../src/kernel/terms.ts'
import { rightValue } from '../../fixtures/gs1-values.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const ai = fc.oneof(
  fc.constantFrom(...aiEntries.map((entry) => entry.ai)),
  fc.stringMatching(/^[0-9]{1,5}$/),
  fc.constantFrom('01', '10', '21', '8001', '8110', '4326', '00', '7040', '99'),
)
const value = fc.oneof(
  fc.constantFrom(
    '09506000134352',
    '4012345123456',
    '240229',
    '000000',
    '20240230',
    '01000500001010',
    '9999999999999999',
  ),
  fc.stringMatching(/^[0-9]{0,20}$/),
  fc.stringMatching(/^[ -~]{0,30}$/),
  hostileText,
)
/** An AI with a right value for it. */
const rightElement = fc
  .tuple(
    fc.constantFrom(...aiEntries),
    fc.array(fc.double({ min: 0, max: 0.999, noNaN: true }), { minLength: 8, maxLength: 8 }),
  )
  .map(([entry, shares]): [string, string] => {
    let at = 0
    const random = (): number => shares[at++ % shares.length]!
    return [entry.ai, rightValue(entry, 'any', random)]
  })
const element = fc.oneof({ weight: 3, arbitrary: rightElement }, { weight: 1, arbitrary: fc.tuple(ai, value) })
const elements = fc.array(element, { minLength: 1, maxLength: 6 })
const separator = fc.constantFrom('', '\u001d', '\u001d\u001d', '^', '~1', '{GS}')
const identifier = fc.oneof(
  { weight: 6, arbitrary: fc.constant(undefined) },
  { weight: 4, arbitrary: fc.constantFrom(']C1', ']e0', ']d2', ']Q3', ']J1', ']Q1', ']d1', ']z0', ']E0') },
  { weight: 1, arbitrary: hostileText },
)

const written = fc.oneof(
  fc
    .tuple(elements, separator, fc.constantFrom('', ']C1', '\u001d', ']Q3', '^'))
    .map(([parts, between, lead]) => lead + parts.map(([a, v]) => `${a}${v}`).join(between)),
  elements.map((parts) => parts.map(([a, v]) => `(${a})${v}`).join('')),
  fc
    .record({
      scheme: fc.constantFrom('https://', 'http://', 'HTTPS://', 'Https://', 'https:/', 'https:'),
      host: fc.oneof(fc.constantFrom('id.gs1.org', 'a.b:80', '[::1]', 'a@b', '1.2.3.4:99999', ''), hostileText),
      stem: fc.constantFrom('', '/some/path', '//', '/01/02', '/%'),
      path: elements,
      query: fc.array(fc.tuple(fc.oneof(ai, hostileText), value), { maxLength: 6 }),
      between: fc.constantFrom('&', ';', '&&'),
      encoded: fc.boolean(),
      fragment: fc.oneof(
        fc.constant(''),
        hostileText.map((text) => `#${text}`),
      ),
    })
    .map(({ scheme, host, stem, path, query, between, encoded, fragment }) => {
      const spell = (text: string): string => (encoded ? encodeURIComponent(text.toWellFormed()) : text)
      const keys = path.map(([a, v]) => `/${a}/${spell(v)}`).join('')
      const parameters = query.map(([a, v]) => `${a}=${spell(v)}`).join(between)
      return `${scheme}${host}${stem}${keys}${parameters === '' ? '' : `?${parameters}`}${fragment}`
    }),
  hostileText,
  longText,
)

function judgeReading(text: string, options: { identifier?: string | undefined; human: boolean }): string {
  const reading = readGs1(text, options)
  if (reading.ok) {
    holds(reading.elements.length > 0, 'a sound text has elements')
    holds(Buffer.byteLength(text) <= limits.codeBytesMax, 'a text over the limit is not read')
    for (const { position } of reading.elements)
      holds(position >= 0 && position < text.length, 'elements stand in the text')
    rollFrom8001(reading.elements)
    return 'taken'
  }
  const { position, message, rule } = reading.fault
  holds(Number.isInteger(position) && position >= 0 && position <= text.length, `a fault stands at ${position}`)
  holds(message.length > 0 && message.length < 1_000, `the fault ${rule} says ${message.length} characters`)
  return `fault ${rule}`
}

export const gs1Target = defineTarget({
  name: 'gs1',
  module: import.meta.url,
  about:
    'GS1 texts: read, or a fault that stands in the text; explained and matched alike; rules of any AI compile or are refused',
  bounds: { caseCpuMsMax: 1_000, growthMiBMax: 128 },
  cases: { short: 1_500, long: 15_000 },
  arbitrary: fc.record({
    text: written,
    identifier,
    human: fc.boolean(),
    rule: fc.record({
      design: ai,
      print: fc.option(ai, { nil: undefined }),
      serial: fc.option(ai, { nil: undefined }),
      symbologies: fc.uniqueArray(
        fc.constantFrom(...(Object.keys(symbologyLetters) as (keyof typeof symbologyLetters)[])),
        {
          minLength: 1,
          maxLength: 3,
        },
      ),
    }),
    designs: fc.array(fc.oneof(value, hostileText), { maxLength: 4 }),
  }),
  meets: ['taken', 'fault ai', 'fault key', 'fault text-bytes'],
  async open() {
    return {
      async run({ text, identifier: carrier, human, rule, designs }) {
        const answer = judgeReading(text, { identifier: carrier, human })
        const explained = explainGs1(text, { identifier: carrier, nowMs: 1_750_000_000_000 })
        for (const { position, pointer } of explained.faults) holds(pointer.length === position + 1, 'a pointer points')
        await answerOf(() => {
          const compiled = compileGs1({ ...rule, designs })
          const named = compiled.match(text, carrier)
          if (named) holds(readGs1(text, { identifier: carrier }).ok, 'what matches is sound')
          for (const design of designs) compiled.canName({ design, print: design })
        })
        return answer
      },
      close: async () => undefined,
    }
  },
})
