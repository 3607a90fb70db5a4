// One ledger line as JSON whose every byte is settled: no white space, no doubled key, each number and string in its one form.
// What is left of canonical JSON (RFC 8785), the order of keys, is checked with the shape, which walks all keys anyway.
import { Fault } from './fault.ts'

export type Plain = string | number | boolean | null | readonly Plain[] | PlainObject
export interface PlainObject {
  readonly [key: string]: Plain
}

const utf8 = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })
// JSON.stringify, like the line, writes half a surrogate pair as an escape; as a character of the value the u flag finds it.
const escapedSurrogate = '\\ud'
const loneSurrogate = /[\ud800-\udfff]/u

/**
 * The value of a line. JSON.stringify writes numbers and strings as RFC 8785 §3.2.2 wants them, and keys in the order in which
 * they were read: a line that it writes otherwise is not canonical. Throws a Fault `not-canonical`.
 */
export function parseLine(bytes: Uint8Array): Plain {
  const text = attempt(() => utf8.decode(bytes), 'it is not UTF-8')
  const value = attempt(() => JSON.parse(text) as Plain, 'it is not JSON')
  // Nesting deep enough to fill the stack fails in the writing.
  const again = attempt(() => JSON.stringify(value), 'it is nested too deep')
  if (again !== text)
    throw new Fault('not-canonical', `canonical JSON differs at character ${firstDifference(text, again)}`)
  if (text.includes(escapedSurrogate)) refuseLoneSurrogates(value)
  return value
}

function attempt<Value>(step: () => Value, why: string): Value {
  try {
    return step()
  } catch {
    throw new Fault('not-canonical', why)
  }
}

function firstDifference(text: string, again: string): number {
  let at = 0
  while (at < text.length && text[at] === again[at]) at += 1
  return at
}

function refuseLoneSurrogates(value: Plain): void {
  if (typeof value === 'string' && loneSurrogate.test(value)) {
    throw new Fault('not-canonical', 'a text holds half a surrogate pair')
  }
  if (typeof value === 'object' && value !== null) Object.values(value).forEach(refuseLoneSurrogates)
}
