// The installation's signing key: an Ed25519 key pair in the data directory, made once and never replaced.
import { createPrivateKey, createPublicKey, type KeyObject, sign } from 'node:crypto'
import { open, readFile, rename, rm, stat } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { sha256, sha256Hex } from '../kernel/bytes.ts'
import type { RandomBytes } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import { verifierKeyText } from './verifier-key.ts'

export interface SigningKey {
  /** `rollcall/` and the installation id: the first 8 hex digits of SHA-256 of the public key. */
  readonly name: string
  /** 32 bytes. */
  readonly publicKey: Uint8Array
  /** What auditors keep: `name+keyId+base64(01 ‖ public key)`. */
  readonly verifierKey: string
  /** 64 bytes, Ed25519. */
  sign(message: Uint8Array): Uint8Array
}

const seedBytes = 32
// RFC 8410: what stands before the 32 bytes of an Ed25519 private key in PKCS #8, and of a public key in SubjectPublicKeyInfo.
const pkcs8Head = Buffer.from('302e020100300506032b657004220420', 'hex')
const spkiHeadBytes = 12

/** The key pair of a 32-byte seed (RFC 8032 §5.1.5). */
export function signingKeyOf(seed: Uint8Array): SigningKey {
  return toSigningKey(privateKeyOf(seed))
}

function privateKeyOf(seed: Uint8Array): KeyObject {
  return createPrivateKey({ key: Buffer.concat([pkcs8Head, seed]), format: 'der', type: 'pkcs8' })
}

function toSigningKey(privateKey: KeyObject): SigningKey {
  const publicKey = createPublicKey(privateKey).export({ format: 'der', type: 'spki' }).subarray(spkiHeadBytes)
  const name = `rollcall/${sha256Hex(publicKey).slice(0, 8)}`
  return {
    name,
    publicKey,
    verifierKey: verifierKeyText(sha256, { name, publicKey }),
    sign: (message) => sign(null, message, privateKey),
  }
}

/**
 * Loads the key in this folder (`signing.pem`, mode 0600), or makes it there; the public half stands beside it in `signing.pub`.
 * The caller holds the data directory, so nobody else makes one at the same time. Problem `key-bad` when the file is no Ed25519
 * key, when others may read it, or when the public half beside it is another's.
 */
export async function openSigningKey(parts: {
  readonly folder: string
  readonly random: RandomBytes
}): Promise<SigningKey> {
  const paths = { secret: join(parts.folder, 'signing.pem'), shared: join(parts.folder, 'signing.pub') }
  const stored = await readIfThere(paths.secret)
  const key = stored === undefined ? await makeKey(paths.secret, parts.random) : await loadKey(paths.secret, stored)
  const shared = await readIfThere(paths.shared)
  // A crash between the two files leaves the public half to be written now.
  if (shared === undefined) await writeWhole(paths.shared, { text: `${key.verifierKey}\n`, mode: 0o644 })
  else if (shared.trim() !== key.verifierKey) throw bad(paths.shared, 'the public half is not that of signing.pem')
  return key
}

async function makeKey(path: string, random: RandomBytes): Promise<SigningKey> {
  const privateKey = privateKeyOf(random(seedBytes))
  const text = privateKey.export({ format: 'pem', type: 'pkcs8' }).toString()
  await writeWhole(path, { text, mode: 0o600 })
  return toSigningKey(privateKey)
}

async function loadKey(path: string, pem: string): Promise<SigningKey> {
  const { mode } = await stat(path)
  if (process.platform !== 'win32' && (mode & 0o077) !== 0) {
    throw bad(path, 'others than its owner may read the private key; set its mode to 600')
  }
  return toSigningKey(parsePrivateKey(path, pem))
}

function parsePrivateKey(path: string, pem: string): KeyObject {
  try {
    const key = createPrivateKey(pem)
    if (key.asymmetricKeyType === 'ed25519') return key
  } catch {
    // Node's reason speaks of decoders; the Problem says what a person needs.
  }
  throw bad(path, 'not the PEM text of an Ed25519 private key')
}

async function readIfThere(path: string): Promise<string | undefined> {
  try {
    return await readFile(path, 'utf8')
  } catch (cause) {
    if (cause instanceof Error && 'code' in cause && cause.code === 'ENOENT') return undefined
    throw cause
  }
}

/** The file appears whole or not at all: temporary name, fsync, rename, fsync of the folder. */
async function writeWhole(path: string, content: { text: string; mode: number }): Promise<void> {
  const temporary = `${path}.part`
  await rm(temporary, { force: true })
  await writeSynced(temporary, content)
  await rename(temporary, path)
  const folder = await open(dirname(path), 'r')
  await folder.sync().finally(() => folder.close())
}

async function writeSynced(path: string, { text, mode }: { text: string; mode: number }): Promise<void> {
  const file = await open(path, 'wx', mode)
  try {
    await file.writeFile(text)
    await file.sync()
  } finally {
    await file.close()
  }
}

const bad = (file: string, detail: string): Problem => new Problem('key-bad', detail, { file })
