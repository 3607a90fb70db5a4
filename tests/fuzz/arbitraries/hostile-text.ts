// Texts that break what believes in text: halves of surrogate pairs, controls, marks, other scripts' digits, great length, and words
// that mean something to a machine.
import fc from 'fast-check'

const words = [
  '',
  ' ',
  '\0',
  '\n',
  '\u001d',
  '\u0085',
  '\u2028',
  '\ufeff',
  '\ufffd',
  '\ud800',
  '\udc00',
  '\ud83d\ude00',
  'e\u0301',
  '\u0130',
  '٤٢',
  '０１',
  '__proto__',
  'constructor',
  'toString',
  'hasOwnProperty',
  '../../etc/passwd',
  'C:\\x',
  '/',
  '.',
  'NaN',
  '-0',
  '1e400',
  '{',
  '}',
  '{{',
  '%00',
  '%',
  "'; DROP TABLE runs; --",
  '<script>',
  ['$', '{x}'].join(''),
]

/** A short text; lone surrogates are among it. */
export const hostileText: fc.Arbitrary<string> = fc.oneof(
  fc.constantFrom(...words),
  fc.string({ maxLength: 20 }),
  fc.string({ unit: 'binary', maxLength: 12 }),
  fc.array(fc.nat(0xffff), { maxLength: 8 }).map((units) => String.fromCharCode(...units)),
  fc.array(fc.constantFrom(...words), { maxLength: 5 }).map((parts) => parts.join('')),
)

/** A text of up to some 100,000 characters, as what to repeat and how often. */
export const longText: fc.Arbitrary<string> = fc
  .tuple(
    fc.constantFrom('a', '0', '\\', '"', '\ud800', '😀', 'ab', '/', '(', '{'),
    fc.constantFrom(100, 501, 5_000, 100_000),
  )
  .map(([unit, times]) => unit.repeat(times))
