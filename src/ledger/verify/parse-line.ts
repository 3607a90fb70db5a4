// A strict reader of one ledger line: canonical JSON (RFC 8785) of strings, safe integers, lists and objects, and nothing else.
// It reads in one pass and never compares with a second writing, so that it shares no mistake with the code that wrote.
import { Fault } from './fault.ts'

export type Plain = string | number | readonly Plain[] | PlainObject
export interface PlainObject {
  readonly [key: string]: Plain
}

// Entry, body, list, layer, placement: no entry is nested deeper.
const depthMax = 8
const integerToken = /-?(?:0|[1-9][0-9]{0,15})/y
// Keys are the contract's own words; none needs an escape, and none can touch the prototype.
const keyToken = /"([a-z][A-Za-z]{0,31})":/y
const escapedOrControl = /[\\\p{Cc}]/u
// With the u flag a lone half of a pair matches, a whole pair does not.
const loneSurrogate = /[\ud800-\udfff]/u

const utf8 = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })

interface Cursor {
  readonly text: string
  at: number
}

/** The value that the bytes are the canonical JSON of. Throws a Fault `not-canonical` at the first byte that is otherwise. */
export function parseLine(bytes: Uint8Array): Plain {
  const cursor = { text: decode(bytes), at: 0 }
  const value = readValue(cursor, 0)
  if (cursor.at !== cursor.text.length) throw wrong(cursor, 'the end')
  return value
}

function decode(bytes: Uint8Array): string {
  try {
    return utf8.decode(bytes)
  } catch {
    throw new Fault('not-canonical', 'not UTF-8')
  }
}

function wrong(cursor: Cursor, expected: string): Fault {
  const found =
    cursor.at < cursor.text.length ? JSON.stringify(cursor.text.slice(cursor.at, cursor.at + 12)) : 'the end'
  return new Fault('not-canonical', `${expected} expected at character ${cursor.at}, found ${found}`)
}

function readValue(cursor: Cursor, depth: number): Plain {
  if (depth > depthMax) throw wrong(cursor, `at most ${depthMax} levels`)
  switch (cursor.text[cursor.at]) {
    case '"':
      return readString(cursor)
    case '{':
      return readObject(cursor, depth + 1)
    case '[':
      return readList(cursor, depth + 1)
    default:
      return readInteger(cursor)
  }
}

function take(cursor: Cursor, character: string): boolean {
  const isThere = cursor.text[cursor.at] === character
  if (isThere) cursor.at += 1
  return isThere
}

function readObject(cursor: Cursor, depth: number): PlainObject {
  const members: Record<string, Plain> = {}
  cursor.at += 1
  if (take(cursor, '}')) return members
  let last = ''
  do {
    const key = readKey(cursor)
    // Rising keys are sorted and, at once, without doubles.
    if (key <= last) throw wrong(cursor, `a key after "${last}"`)
    members[key] = readValue(cursor, depth)
    last = key
  } while (take(cursor, ','))
  if (!take(cursor, '}')) throw wrong(cursor, '"," or "}"')
  return members
}

function readKey(cursor: Cursor): string {
  keyToken.lastIndex = cursor.at
  const key = keyToken.exec(cursor.text)?.[1]
  if (key === undefined) throw wrong(cursor, 'a key')
  cursor.at = keyToken.lastIndex
  return key
}

function readList(cursor: Cursor, depth: number): readonly Plain[] {
  const items: Plain[] = []
  cursor.at += 1
  if (take(cursor, ']')) return items
  do items.push(readValue(cursor, depth))
  while (take(cursor, ','))
  if (!take(cursor, ']')) throw wrong(cursor, '"," or "]"')
  return items
}

function readInteger(cursor: Cursor): number {
  integerToken.lastIndex = cursor.at
  const token = integerToken.exec(cursor.text)?.[0]
  const value = Number(token)
  if (token === undefined || !Number.isSafeInteger(value) || token === '-0') throw wrong(cursor, 'a value')
  cursor.at += token.length
  return value
}

function readString(cursor: Cursor): string {
  const start = cursor.at + 1
  const end = cursor.text.indexOf('"', start)
  const raw = cursor.text.slice(start, end)
  if (end < 0 || escapedOrControl.test(raw)) return readEscaped(cursor)
  cursor.at = end + 1
  return raw
}

/** A string with escapes: it is canonical when writing its value in the shortest way gives the same token. */
function readEscaped(cursor: Cursor): string {
  const end = closingQuote(cursor)
  const token = cursor.text.slice(cursor.at, end + 1)
  const value = stringOf(token)
  if (value === undefined || JSON.stringify(value) !== token || loneSurrogate.test(value)) {
    throw wrong(cursor, 'a canonical string')
  }
  cursor.at = end + 1
  return value
}

function closingQuote(cursor: Cursor): number {
  const { text } = cursor
  for (let at = cursor.at + 1; at < text.length; at += 1) {
    if (text[at] === '"') return at
    if (text[at] === '\\') at += 1
  }
  throw wrong(cursor, 'a string with an end')
}

function stringOf(token: string): string | undefined {
  try {
    return JSON.parse(token) as string
  } catch {
    return undefined
  }
}
