// Entries to bytes and back. The bytes are the record: they are hashed, stored and checked as they are, never made again.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import { answerText } from './answer-text.ts'
import { canonicalEntryText, integer, quoted } from './canonical.ts'
import { type Entry, entryBodies, entryTypes } from './entries.ts'

const saltPattern = /^[0-9a-f]{32}$/

const envelope = z.strictObject({
  v: z.literal(1),
  index: z.int().min(0),
  type: z.enum(entryTypes),
  atMs: z.int(),
  epoch: z.int().min(0),
  salt: z.string().regex(saltPattern),
  body: z.unknown(),
})

/**
 * The RFC 8785 bytes of an entry. Trusts the types: an entry made inside Rollcall is not validated again on the hot path.
 * Problem `bad-request` for text that UTF-8 cannot hold (a lone surrogate), which can only have come from outside.
 */
export function encodeEntry(entry: Entry): Uint8Array {
  const body = entry.type === 'answer' ? answerText(entry.body) : canonicalEntryText(entry.body)
  const text =
    `{"atMs":${integer(entry.atMs)},"body":${body},"epoch":${integer(entry.epoch)},"index":${integer(entry.index)}` +
    `,"salt":${quoted(entry.salt)},"type":"${entry.type}","v":1}`
  if (text.includes('\\ud')) refuseLoneSurrogates(text)
  return Buffer.from(text)
}

// JSON.stringify writes a lone surrogate as an escape, \ud800 to \udfff; behind an even number of backslashes it is one.
const loneSurrogate = /(?<!\\)(?:\\\\)*\\ud[89a-f]/

function refuseLoneSurrogates(text: string): void {
  if (loneSurrogate.test(text))
    throw new Problem('bad-request', 'a text holds half a surrogate pair, which UTF-8 cannot')
}

/** The entry that the bytes are. Problem `ledger-bad` unless they are exactly the canonical bytes of a known kind of entry. */
export function decodeEntry(bytes: Uint8Array): Entry {
  const head = envelope.safeParse(parseJson(bytes))
  if (!head.success) throw bad(`not an entry: ${z.prettifyError(head.error)}`)
  const body = entryBodies[head.data.type].safeParse(head.data.body)
  if (!body.success) throw bad(`entry ${head.data.index}, ${head.data.type}: ${z.prettifyError(body.error)}`)
  const entry = { ...head.data, body: body.data } as Entry
  if (Buffer.compare(encodeEntry(entry), bytes) !== 0) throw bad(`entry ${entry.index} is not in canonical form`)
  return entry
}

const utf8 = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })

function parseJson(bytes: Uint8Array): unknown {
  try {
    return JSON.parse(utf8.decode(bytes))
  } catch (cause) {
    throw bad(`not an entry: ${cause instanceof Error ? cause.message : String(cause)}`)
  }
}

const bad = (detail: string): Problem => new Problem('ledger-bad', detail)
