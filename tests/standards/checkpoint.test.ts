// Signed notes and checkpoints. The key and the signature of the first part are the example in the documentation of the Go
// project's note package, the origin of C2SP signed-note (typed from memory; the signature verifies, so every byte is right).
import { createPublicKey, verify } from 'node:crypto'
import { describe, expect, it } from 'vitest'
import { sha256 } from '../../src/kernel/bytes.ts'
import { readCheckpoint, signCheckpoint, verifySignature } from '../../src/ledger/checkpoint.ts'
import { signingKeyOf } from '../../src/ledger/keys.ts'
import { keyId, parseVerifierKey, verifierKeyText } from '../../src/ledger/verifier-key.ts'

const exampleKey = 'PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW'
const exampleText =
  'If you think cryptography is the answer to your problem,\n' + "then you don't know what your problem is.\n"
const exampleSignature = 'x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM='

describe('the published signed note', () => {
  it('its verifier key is read, its key id recomputed, and the text written again', () => {
    const key = parseVerifierKey(sha256, exampleKey)
    expect(key.name).toBe('PeterNeumann')
    expect(Buffer.from(keyId(sha256, key)).toString('hex')).toBe('c74f20a3')
    expect(verifierKeyText(sha256, key)).toBe(exampleKey)
  })

  it('its signature is good over its text, behind the key id', () => {
    const { publicKey } = parseVerifierKey(sha256, exampleKey)
    const bytes = Buffer.from(exampleSignature, 'base64')
    expect(bytes.subarray(0, 4).toString('hex')).toBe('c74f20a3')
    const signed = { publicKey, message: Buffer.from(exampleText), signature: bytes.subarray(4) }
    expect(verifySignature(signed)).toBe(true)
    expect(verifySignature({ ...signed, message: Buffer.from(`${exampleText}\n`) })).toBe(false)
    expect(verifySignature({ ...signed, signature: bytes.subarray(4, 67) })).toBe(false)
  })
})

// RFC 8032 §7.1, test 1: secret and public key (from memory; they belong together, as the test shows).
const seed = Buffer.from('9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60', 'hex')
const publicHex = 'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a'
const emptySignature =
  'e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b'

describe('keys and checkpoints', () => {
  const key = signingKeyOf(seed)
  const root = sha256('a root')
  const head = { treeSize: 20_852_163, root: Buffer.from(root).toString('hex') as never }
  const text = signCheckpoint(key, { runId: 'T-7.1', ...head })

  it('the key of a seed is that of RFC 8032 and signs the same', () => {
    expect(Buffer.from(key.publicKey).toString('hex')).toBe(publicHex)
    expect(Buffer.from(key.sign(new Uint8Array(0))).toString('hex')).toBe(emptySignature)
  })

  it('a checkpoint is origin, decimal size, base64 root, a blank line and a signature line, byte for byte', () => {
    const [origin, size, rootLine, blank, signatureLine, end] = text.split('\n')
    expect(origin).toBe(
      `rollcall/${Buffer.from(sha256(Buffer.from(publicHex, 'hex')))
        .toString('hex')
        .slice(0, 8)}/T-7.1`,
    )
    expect([size, blank, end]).toEqual(['20852163', '', ''])
    expect(rootLine).toBe(Buffer.from(root).toString('base64'))
    expect(signatureLine).toMatch(/^— rollcall\/[0-9a-f]{8} [A-Za-z0-9+/]+=*$/)
  })

  it('the signature covers the text up to the blank line, behind SHA-256(name ‖ 0A ‖ 01 ‖ public key)[0..4]', () => {
    const signed = Buffer.from(text.split(' ').at(-1)!.trim(), 'base64')
    const named = Buffer.concat([Buffer.from(`${key.name}\n\u0001`), Buffer.from(publicHex, 'hex')])
    expect(signed.subarray(0, 4)).toEqual(Buffer.from(sha256(named)).subarray(0, 4))
    const der = Buffer.concat([Buffer.from('302a300506032b6570032100', 'hex'), Buffer.from(publicHex, 'hex')])
    const publicKey = createPublicKey({ key: der, format: 'der', type: 'spki' })
    const body = text.slice(0, text.indexOf('\n\n') + 1)
    expect(verify(null, Buffer.from(body), publicKey, signed.subarray(4))).toBe(true)
  })

  it('what was signed is read again', () => {
    expect(readCheckpoint(text, key.verifierKey)).toEqual({ ...head, runId: 'T-7.1', origin: `${key.name}/T-7.1` })
  })

  it('lines of other signers are passed over', () => {
    const cosigned = `${text}— witness.example/w1 ${Buffer.alloc(68, 7).toString('base64')}\n`
    expect(readCheckpoint(cosigned, key.verifierKey).treeSize).toBe(20_852_163)
  })
})
