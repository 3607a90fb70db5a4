// Bytes, digests and the canonical form of JSON.
import { hash } from 'node:crypto'
import { createRequire } from 'node:module'
import { assert } from './assert.ts'

// The package is CommonJS and its types name a default export that it lacks under Node's resolution.
const canonicalizeJson = createRequire(import.meta.url)('canonicalize') as (value: unknown) => string | undefined

export type Json = string | number | boolean | null | readonly Json[] | { readonly [key: string]: Json }

/** A SHA-256 digest as 64 lower-case hex digits. */
export type Digest = string & { readonly brand: 'Digest' }

export const digestPattern = /^[0-9a-f]{64}$/

export function toDigest(text: string): Digest {
  assert(digestPattern.test(text), 'a digest is 64 lower-case hex digits')
  return text as Digest
}

// The one-shot hash, given out as hex, takes a third of the time of a hash object, which leaves work to the garbage collector.
export function sha256(bytes: Uint8Array | string): Uint8Array {
  return Buffer.from(hash('sha256', bytes, 'hex'), 'hex')
}

export function sha256Hex(bytes: Uint8Array | string): Digest {
  return hash('sha256', bytes, 'hex') as Digest
}

/** The RFC 8785 text of a JSON value. Throws on what JSON can't hold (NaN, lone surrogates, cycles). */
export function canonicalText(value: unknown): string {
  const text = canonicalizeJson(value)
  assert(text !== undefined, 'the value has a JSON form')
  return text
}
