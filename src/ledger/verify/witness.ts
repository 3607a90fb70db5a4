// A witness's checkpoint, as the verifier reads it: C2SP tlog-checkpoint text under an Ed25519 signature (C2SP signed-note). Apart
// from the code that signs, and without a crypto library of its own.
import { Problem } from '../../kernel/problem.ts'
import type { Sha256 } from '../merkle.ts'

/** A checkpoint from outside, with the verifier key (`name+keyId+base64`) of the installation that signed it. */
export interface WitnessedCheckpoint {
  readonly text: string
  readonly key: string
}

/** Whether an Ed25519 signature (64 bytes) over the message is that of the public key (32 bytes). */
export type VerifySignature = (signed: {
  readonly publicKey: Uint8Array
  readonly message: Uint8Array
  readonly signature: Uint8Array
}) => boolean | Promise<boolean>

export interface Witness {
  readonly origin: string
  readonly treeSize: number
  /** Hex. */
  readonly root: string
}

export interface WitnessChecks {
  readonly sha256: Sha256
  readonly verifySignature: VerifySignature
  /** Where given, the checkpoint must be about this run. */
  readonly runId?: string
}

const ed25519 = 1
const textPattern = /^([^\n]+)\n(0|[1-9][0-9]{0,15})\n([A-Za-z0-9+/]{43}=)\n\n((?:— [^ \n+]+ [A-Za-z0-9+/]+={0,2}\n)+)$/
const keyPattern = /^([^ \n+]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/]+={0,2})$/

/** The checkpoint's tree, once its signature is found good. Problem `checkpoint-bad` otherwise. */
export async function readWitness(witness: WitnessedCheckpoint, checks: WitnessChecks): Promise<Witness> {
  const [, origin = '', size = '', rootText = '', signatures = ''] = textPattern.exec(witness.text) ?? []
  const root = fromBase64(rootText)
  const treeSize = Number(size)
  if (root.length !== 32 || !Number.isSafeInteger(treeSize)) throw bad('the text is not that of a checkpoint')
  const key = readKey(witness.key, checks.sha256)
  if (!origin.startsWith(`${key.name}/`)) throw bad(`its origin "${origin}" is not of the installation "${key.name}"`)
  if (checks.runId !== undefined && origin !== `${key.name}/${checks.runId}`) {
    throw bad(`it is about "${origin}", not about run ${checks.runId}`)
  }
  const message = new TextEncoder().encode(`${origin}\n${size}\n${rootText}\n`)
  for (const signature of signaturesBy(key, signatures)) {
    if (await checks.verifySignature({ publicKey: key.publicKey, message, signature })) {
      return { origin, treeSize, root: hexOf(root) }
    }
  }
  throw bad(`it bears no good signature of the key ${key.name}+${key.id}`)
}

interface Key {
  readonly name: string
  readonly id: string
  readonly publicKey: Uint8Array
}

function readKey(text: string, sha256: Sha256): Key {
  const [, name = '', id = '', keyText = ''] = keyPattern.exec(text.trim()) ?? []
  const bytes = fromBase64(keyText)
  if (bytes.length !== 33 || bytes[0] !== ed25519) throw bad('the verifier key is not one of an Ed25519 key')
  const named = new TextEncoder().encode(`${name}\n`)
  const hashed = sha256(Uint8Array.from([...named, ...bytes]))
  if (hexOf(hashed.slice(0, 4)) !== id) throw bad('the verifier key does not fit its own key id')
  return { name, id, publicKey: bytes.slice(1) }
}

/** Signatures of other keys are passed over (C2SP signed-note). */
function signaturesBy(key: Key, lines: string): readonly Uint8Array[] {
  return lines
    .trimEnd()
    .split('\n')
    .map((line) => line.split(' '))
    .filter(([, name]) => name === key.name)
    .map(([, , text = '']) => fromBase64(text))
    .filter((bytes) => bytes.length === 68 && hexOf(bytes.slice(0, 4)) === key.id)
    .map((bytes) => bytes.slice(4))
}

/** Empty for anything but base64 with its padding and with the unused bits zero. */
function fromBase64(text: string): Uint8Array {
  try {
    const binary = atob(text)
    if (btoa(binary) !== text) return new Uint8Array(0)
    return Uint8Array.from(binary, (character) => character.charCodeAt(0))
  } catch {
    return new Uint8Array(0)
  }
}

export const hexOf = (bytes: Uint8Array): string =>
  Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0')).join('')

const bad = (why: string): Problem => new Problem('checkpoint-bad', `the checkpoint cannot be used: ${why}`)
