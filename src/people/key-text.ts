// A key as people copy it: `rck-<id>-<secret>`, the secret ending in a checksum, so that a slip of the pen is told from a wrong key
// without looking anything up. Letters that are taken for digits (i, l, o, u) do not occur.
import { hash } from 'node:crypto'
import { assert } from '../kernel/assert.ts'
import type { RandomBytes } from '../kernel/clock.ts'

const alphabet = '0123456789abcdefghjkmnpqrstvwxyz'
const idBytes = 5
/** 160 random bits; 128 would do (NIST SP 800-63B asks 64 of a secret that is looked up online). */
const secretBytes = 20
const checkLength = 4

export interface KeyParts {
  /** 8 characters; no secret. */
  readonly id: string
  /** 32 characters. */
  readonly secret: string
}

// Whole groups of five bits only, so no padding is needed.
function base32(bytes: Uint8Array): string {
  assert(bytes.length % 5 === 0, 'the bytes fill whole characters')
  let bits = 0
  let held = 0
  let text = ''
  for (const byte of bytes) {
    held = (held << 8) | byte
    for (bits += 8; bits >= 5; bits -= 5) text += alphabet[(held >> (bits - 5)) & 31]
    held &= (1 << bits) - 1
  }
  return text
}

const checkOf = ({ id, secret }: KeyParts): string =>
  base32(Buffer.from(hash('sha256', `${id}-${secret}`, 'hex'), 'hex').subarray(0, 5)).slice(0, checkLength)

/** A new id and secret. */
export const drawKey = (random: RandomBytes): KeyParts => ({
  id: base32(random(idBytes)),
  secret: base32(random(secretBytes)),
})

/** The text of a key. */
export const spellKey = (parts: KeyParts): string => `rck-${parts.id}-${parts.secret}${checkOf(parts)}`

const pattern = new RegExp(`^rck-([${alphabet}]{8})-([${alphabet}]{32})([${alphabet}]{${checkLength}})$`)

/** Reads a key; undefined where the form or the checksum is wrong. Capital letters are taken too. Never throws. */
export function readKey(text: string): KeyParts | undefined {
  const [, id, secret, check] = pattern.exec(text.toLowerCase()) ?? []
  if (id === undefined || secret === undefined) return undefined
  return checkOf({ id, secret }) === check ? { id, secret } : undefined
}
