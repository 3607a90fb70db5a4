// Edits of a sound JSON document at three levels: of its value, of its tokens, of its bytes; and whole documents that no value can spell.
import fc from 'fast-check'
import { type ByteEdit, byteEdit, editBytes, place, placeIn } from './byte-edits.ts'
import { hostileText, longText } from './hostile-text.ts'

export interface ValueEdit {
  /** Each picks one of the children. */
  readonly steps: readonly number[]
  readonly what: 'replace' | 'delete' | 'add' | 'repeat' | 'graft'
  readonly value: unknown
}

export interface TokenEdit {
  readonly at: number
  readonly what: 'replace' | 'delete' | 'insert' | 'repeat' | 'swap'
  readonly token: string
  readonly count: number
}

export type JsonCase =
  | {
      readonly kind: 'edited'
      /** Which of the sound documents. */
      readonly base: number
      readonly values: readonly ValueEdit[]
      readonly tokens: readonly TokenEdit[]
      readonly bytes: readonly ByteEdit[]
    }
  | { readonly kind: 'deep'; readonly open: string; readonly depth: number; readonly closed: boolean }
  | { readonly kind: 'names'; readonly nameLength: number; readonly count: number; readonly same: boolean }
  | { readonly kind: 'wide'; readonly element: string; readonly count: number }
  | { readonly kind: 'bytes'; readonly bytes: Uint8Array }

/** Values that stand near what a document holds, and such that stand nowhere near. */
export const hostileValue = (words: readonly unknown[]): fc.Arbitrary<unknown> =>
  fc.oneof(
    { weight: 6, arbitrary: fc.constantFrom(...words) },
    {
      weight: 4,
      arbitrary: fc.constantFrom<unknown>(
        0,
        -1,
        1,
        0.5,
        1e-9,
        1e9,
        1e21,
        1.7976931348623157e308,
        5e-324,
        2 ** 31,
        2 ** 53,
        null,
        true,
        false,
        [],
        {},
        '',
      ),
    },
    { weight: 3, arbitrary: fc.double({ noNaN: true, noDefaultInfinity: true, min: -500, max: 500 }) },
    { weight: 3, arbitrary: hostileText },
    { weight: 1, arbitrary: longText },
    { weight: 2, arbitrary: fc.jsonValue({ maxDepth: 3 }) },
  )

const hostileTokens = [
  'null',
  'true',
  'NaN',
  'Infinity',
  '-0',
  '1e400',
  '-1e400',
  '1e-400',
  '0.1e1',
  '01',
  '+1',
  '0x10',
  '9'.repeat(400),
  `0.${'0'.repeat(400)}1`,
  '"\\ud800"',
  '"\\udc00\\ud800"',
  '"\\u0000"',
  '"\\',
  '"',
  "'a'",
  '"__proto__"',
  '"a":1,"a":2',
  '{',
  '}',
  '[',
  ']',
  ',',
  ':',
  '/* */',
  '\ufeff',
  '\u2028',
  '[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[',
  '{"a":{"a":{"a":{"a":{"a":{"a":{"a":{"a":{"a":{"a":{"a":1}}}}}}}}}}}',
]

const tokenEdit: fc.Arbitrary<TokenEdit> = fc.record({
  at: place,
  what: fc.constantFrom<TokenEdit['what']>('replace', 'delete', 'insert', 'repeat', 'swap'),
  token: fc.oneof(
    fc.constantFrom(...hostileTokens),
    hostileText.map((text) => JSON.stringify(text)),
  ),
  count: fc.integer({ min: 1, max: 30 }),
})

/** An edit of a value; `words` are values that its format knows. */
export const valueEdit = (words: readonly unknown[]): fc.Arbitrary<ValueEdit> =>
  fc.record({
    steps: fc.array(fc.nat(31), { minLength: 1, maxLength: 7 }),
    what: fc.constantFrom<ValueEdit['what']>('replace', 'replace', 'delete', 'add', 'repeat', 'graft'),
    value: hostileValue(words),
  })

/** Cases over a number of sound documents; `words` are values that the documents' format knows. */
export function jsonCases(words: readonly unknown[]): fc.Arbitrary<JsonCase> {
  const edited = (most: { values: number; tokens: number; bytes: number }): fc.Arbitrary<JsonCase> =>
    fc.record({
      kind: fc.constant('edited' as const),
      base: fc.nat(63),
      values: fc.array(valueEdit(words), { maxLength: most.values }),
      tokens: fc.array(tokenEdit, { maxLength: most.tokens }),
      bytes: fc.array(byteEdit, { maxLength: most.bytes }),
    })
  return fc.oneof(
    { weight: 10, arbitrary: edited({ values: 5, tokens: 0, bytes: 0 }) },
    { weight: 5, arbitrary: edited({ values: 1, tokens: 3, bytes: 0 }) },
    { weight: 3, arbitrary: edited({ values: 0, tokens: 0, bytes: 4 }) },
    {
      weight: 1,
      arbitrary: fc.record({
        kind: fc.constant('deep' as const),
        open: fc.constantFrom('[', '{"a":', '[{"a":', '[0,', '{"designs":['),
        depth: fc.constantFrom(31, 32, 33, 1_000, 100_000),
        closed: fc.boolean(),
      }),
    },
    {
      weight: 1,
      arbitrary: fc.record({
        kind: fc.constant('names' as const),
        nameLength: fc.constantFrom(1, 1_000, 100_000),
        count: fc.constantFrom(2, 1_000, 20_000),
        same: fc.boolean(),
      }),
    },
    {
      weight: 1,
      arbitrary: fc.record({
        kind: fc.constant('wide' as const),
        element: fc.constantFrom('0', '{}', '[]', '""', 'null', '{"design":"A"}'),
        count: fc.constantFrom(1_000, 100_000),
      }),
    },
    {
      weight: 1,
      arbitrary: fc.record({ kind: fc.constant('bytes' as const), bytes: fc.uint8Array({ maxLength: 60 }) }),
    },
  )
}

type Holder = Record<string, unknown>

// Walks down the value by the steps, each picking one of the children, and changes what it comes to.
export function editValue(root: unknown, { steps, what, value }: ValueEdit): void {
  let holder = root as Holder
  let key = ''
  for (const step of steps) {
    const next = key === '' ? holder : holder[key]
    if (typeof next !== 'object' || next === null) break
    const keys = Object.keys(next)
    if (keys.length === 0) break
    holder = next as Holder
    key = keys[step % keys.length]!
  }
  if (key === '') return
  if (what === 'delete') delete holder[key]
  else if (what === 'add') holder[typeof value === 'string' ? value : `${key}x`] = value
  else if (what === 'repeat' && Array.isArray(holder)) holder.push(structuredClone(holder[Number(key)]))
  // The holder into itself, one level down.
  else if (what === 'graft') holder[key] = structuredClone(holder)
  else holder[key] = structuredClone(value)
}

function editTokens(text: string, edits: readonly TokenEdit[]): string {
  if (edits.length === 0) return text
  const tokens: string[] = text.match(/"(?:[^"\\]|\\.)*"|[{}[\]:,]|[^{}[\]:,"]+|"/g) ?? []
  for (const { at, what, token, count } of edits) {
    const i = placeIn(at, tokens.length)
    if (what === 'replace') tokens.splice(i, 1, token)
    else if (what === 'delete') tokens.splice(i, count)
    else if (what === 'insert') tokens.splice(i, 0, token)
    else if (what === 'repeat') tokens.splice(i, 0, ...tokens.slice(i, i + count))
    else tokens.push(...tokens.splice(i, 1))
  }
  return tokens.join('')
}

function namesText({ nameLength, count, same }: { nameLength: number; count: number; same: boolean }): string {
  // 8 MiB in all.
  const most = Math.min(count, Math.floor((8 * 1024 * 1024) / (nameLength + 8)) + 1)
  const name = (i: number): string => (same ? '' : String(i)).padEnd(nameLength, 'n')
  const members = Array.from({ length: most }, (_, i) => `${JSON.stringify(name(i))}:1`)
  const short = Array.from({ length: count }, () => '"a":1')
  return `{${members.join(',')},${JSON.stringify('outer'.padEnd(nameLength, 'o'))}:{${short.join(',')}}}`
}

const closing: Readonly<Record<string, string>> = { '[': ']', '{': '}' }

function deepText({ open, depth, closed }: { open: string; depth: number; closed: boolean }): string {
  const ends = [...open].toReversed().flatMap((char) => closing[char] ?? [])
  return `${open.repeat(depth)}1${closed ? ends.join('').repeat(depth) : ''}`
}

/** The bytes of a case over these sound documents. */
export function spellJson(one: JsonCase, documents: readonly unknown[]): Buffer {
  switch (one.kind) {
    case 'edited': {
      const value = structuredClone(documents[one.base % documents.length])
      for (const edit of one.values) editValue(value, edit)
      return editBytes(Buffer.from(editTokens(JSON.stringify(value), one.tokens)), one.bytes)
    }
    case 'deep':
      return Buffer.from(deepText(one))
    case 'names':
      return Buffer.from(namesText(one))
    case 'wide':
      return Buffer.from(`[${Array<string>(one.count).fill(one.element).join(',')}]`)
    case 'bytes':
      return Buffer.from(one.bytes)
  }
}
