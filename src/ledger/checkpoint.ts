// Checkpoints: a run's tree at one size under the installation's signature, for somebody outside to keep. Text as in C2SP
// tlog-checkpoint, signature line as in C2SP signed-note.
import { createPublicKey, verify } from 'node:crypto'
import { sha256, toDigest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { LedgerHead } from '../storage/port.ts'
import type { SigningKey } from './keys.ts'
import { keyId, parseVerifierKey } from './verifier-key.ts'

export interface Checkpoint extends LedgerHead {
  /** `rollcall/<installation id>/<run id>`. */
  readonly origin: string
  readonly runId: string
}

const spkiHead = Buffer.from('302a300506032b6570032100', 'hex')
const signatureBytes = 64
const rootBytes = 32

/** The signed text of a run's head. */
export function signCheckpoint(
  key: SigningKey,
  { runId, treeSize, root }: LedgerHead & { readonly runId: string },
): string {
  const body = `${key.name}/${runId}\n${treeSize}\n${Buffer.from(root, 'hex').toString('base64')}\n`
  const signature = Buffer.concat([keyId(sha256, key), key.sign(Buffer.from(body))])
  return `${body}\n— ${key.name} ${signature.toString('base64')}\n`
}

/**
 * The checkpoint that the text is, signed by this verifier key; lines of other signers are passed over, as signed-note asks.
 * Problem `checkpoint-bad` for anything else. Extension lines, which Rollcall never writes, are refused.
 */
export function readCheckpoint(text: string, verifierKey: string): Checkpoint {
  const key = parseVerifierKey(sha256, verifierKey)
  const { body, signatures, ...checkpoint } = parseCheckpoint(text)
  const prefix = `${key.name}/`
  if (!checkpoint.origin.startsWith(prefix))
    throw bad(`its origin is "${checkpoint.origin}", the key's name "${key.name}"`)
  const id = keyId(sha256, key)
  const isSigned = signatures.some(
    ({ name, bytes }) =>
      name === key.name &&
      bytes.subarray(0, id.length).equals(id) &&
      verifySignature({
        publicKey: key.publicKey,
        message: Buffer.from(body),
        signature: bytes.subarray(id.length),
      }),
  )
  if (!isSigned) throw bad(`it bears no good signature of ${key.name}`)
  return { ...checkpoint, runId: checkpoint.origin.slice(prefix.length) }
}

/** Whether an Ed25519 signature (64 bytes) over the message is that of the public key (32 bytes). */
export function verifySignature(signed: {
  readonly publicKey: Uint8Array
  readonly message: Uint8Array
  readonly signature: Uint8Array
}): boolean {
  const key = createPublicKey({ key: Buffer.concat([spkiHead, signed.publicKey]), format: 'der', type: 'spki' })
  return signed.signature.length === signatureBytes && verify(null, signed.message, key, signed.signature)
}

interface Signature {
  readonly name: string
  readonly bytes: Buffer
}

const bodyPattern = /^([^\n]+)\n(0|[1-9][0-9]{0,15})\n([A-Za-z0-9+/]{43}=)\n$/
const signaturePattern = /^— ([^\s+]+) ([A-Za-z0-9+/]+={0,2})$/

function parseCheckpoint(
  text: string,
): LedgerHead & { origin: string; body: string; signatures: readonly Signature[] } {
  const end = text.indexOf('\n\n')
  const body = text.slice(0, end + 1)
  const [, origin, size, root] = bodyPattern.exec(body) ?? []
  const treeSize = Number(size)
  if (
    end < 0 ||
    origin === undefined ||
    root === undefined ||
    !Number.isSafeInteger(treeSize) ||
    !text.endsWith('\n')
  ) {
    throw bad('the text is not origin, size and root, a blank line, and signatures')
  }
  const lines = text.slice(end + 2, -1).split('\n')
  return { origin, treeSize, root: rootOf(root), body, signatures: lines.map(parseSignature) }
}

function rootOf(text: string): LedgerHead['root'] {
  const bytes = Buffer.from(text, 'base64')
  if (bytes.length !== rootBytes || bytes.toString('base64') !== text) throw bad('its root is not the base64 of a hash')
  return toDigest(bytes.toString('hex'))
}

function parseSignature(line: string): Signature {
  const [, name, encoded] = signaturePattern.exec(line) ?? []
  const bytes = Buffer.from(encoded ?? '', 'base64')
  if (name === undefined || bytes.toString('base64') !== encoded)
    throw bad(`not a signature line: ${JSON.stringify(line)}`)
  return { name, bytes }
}

const bad = (why: string): Problem => new Problem('checkpoint-bad', `the checkpoint cannot be used: ${why}`)
