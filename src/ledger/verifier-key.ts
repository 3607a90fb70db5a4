// The text form of an Ed25519 verifier key (C2SP signed-note): `name+keyId+base64(01 ‖ public key)`.
import { Problem } from '../kernel/problem.ts'
import type { Sha256 } from './merkle.ts'

const ed25519 = 1
const keyIdBytes = 4

interface NamedKey {
  readonly name: string
  /** 32 bytes. */
  readonly publicKey: Uint8Array
}

/** SHA-256(name ‖ 0A ‖ 01 ‖ public key), its first four bytes. */
export function keyId(sha256: Sha256, { name, publicKey }: NamedKey): Uint8Array {
  return sha256(Buffer.concat([Buffer.from(`${name}\n`), Buffer.from([ed25519]), publicKey])).subarray(0, keyIdBytes)
}

export function verifierKeyText(sha256: Sha256, key: NamedKey): string {
  const id = Buffer.from(keyId(sha256, key)).toString('hex')
  return `${key.name}+${id}+${Buffer.concat([Buffer.from([ed25519]), key.publicKey]).toString('base64')}`
}

/** The key that the text is of. Problem `checkpoint-bad` for any other text, and where the key id does not fit. */
export function parseVerifierKey(sha256: Sha256, text: string): NamedKey {
  const [, name = '', , encoded = ''] = /^([^\s+]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/]{44})$/.exec(text.trim()) ?? []
  const bytes = Buffer.from(encoded, 'base64')
  const key = { name, publicKey: bytes.subarray(1) }
  if (bytes[0] !== ed25519 || verifierKeyText(sha256, key) !== text.trim()) {
    throw new Problem('checkpoint-bad', 'the verifier key is not that of an Ed25519 key with its own key id')
  }
  return key
}
