// Checkpoints that must be refused, by the reader of the server and by the one of the verifier.
import { describe, expect, it } from 'vitest'
import { sha256, sha256Hex } from '../kernel/bytes.ts'
import { readCheckpoint, signCheckpoint, verifySignature } from './checkpoint.ts'
import { signingKeyOf } from './keys.ts'
import { keyId } from './verifier-key.ts'
import { readWitness } from './verify/witness.ts'

const key = signingKeyOf(sha256('one installation'))
const other = signingKeyOf(sha256('another installation'))
const head = { runId: 'T-7.1', treeSize: 42, root: sha256Hex('a root') }
const text = signCheckpoint(key, head)
const lines = text.split('\n')
const withLine = (at: number, line: string): string => lines.with(at, line).join('\n')

/** Any text under a good signature, so that only its own form can be the reason to refuse it. */
const signed = (body: string): string => {
  const signature = Buffer.concat([keyId(sha256, key), key.sign(Buffer.from(body))])
  return `${body}\n— ${key.name} ${signature.toString('base64')}\n`
}
const signedWith = (at: number, line: string): string => signed(`${lines.slice(0, 3).with(at, line).join('\n')}\n`)

// Both readers refuse alike: the one of the server, and the one that the verifier has for itself.
const readers = {
  server: async (given: string, verifierKey: string) => readCheckpoint(given, verifierKey),
  verifier: (given: string, verifierKey: string) =>
    readWitness({ text: given, key: verifierKey }, { sha256, verifySignature }),
}

const refusals: Record<string, { text?: string; key?: string }> = {
  'another size under the old signature': { text: withLine(1, '43') },
  'another root under the old signature': { text: withLine(2, Buffer.from(sha256('another')).toString('base64')) },
  'another run under the old signature': { text: withLine(0, `${key.name}/T-8.1`) },
  'an origin of another installation': { text: signedWith(0, `${other.name}/T-7.1`) },
  'an origin that merely begins like the key': { text: signedWith(0, `${key.name}0/T-7.1`) },
  'an origin without a run': { text: signedWith(0, key.name) },
  'no origin': { text: signedWith(0, '') },
  'a size with leading zeros': { text: signedWith(1, '042') },
  'a size with a sign': { text: signedWith(1, '+42') },
  'a size with a fraction': { text: signedWith(1, '42.0') },
  'a size beyond the safe numbers': { text: signedWith(1, '9007199254740993') },
  'a size in words': { text: signedWith(1, 'forty-two') },
  'a root that is too short': { text: signedWith(2, Buffer.alloc(31).toString('base64')) },
  'a root that is too long': { text: signedWith(2, Buffer.alloc(33).toString('base64')) },
  'a root without its padding': { text: signedWith(2, 'A'.repeat(43)) },
  'a root with unused bits set': { text: signedWith(2, `${'A'.repeat(42)}B=`) },
  'a root in base64url': { text: signedWith(2, `-${'A'.repeat(42)}=`) },
  'an extension line': { text: signed(`${lines.slice(0, 3).join('\n')}\nextra\n`) },
  'no root': { text: signed(`${lines.slice(0, 2).join('\n')}\n`) },
  'a space at the end of a line': { text: signedWith(1, '42 ') },
  'line ends of another system': { text: signed(`${lines.slice(0, 3).join('\r\n')}\r\n`) },
  'no blank line': { text: lines.toSpliced(3, 1).join('\n') },
  'no signature': { text: `${lines.slice(0, 4).join('\n')}\n` },
  'no end of line': { text: text.trimEnd() },
  'a line behind the signature': { text: `${text}\n` },
  'a hyphen for the dash': { text: text.replace('—', '-') },
  'a signature under another name': { text: text.replace(`— ${key.name}`, `— ${other.name}`) },
  'a signature behind the id of another key': {
    text: withLine(
      4,
      `— ${key.name} ${Buffer.concat([Buffer.alloc(4), key.sign(Buffer.from(text.slice(0, text.indexOf('\n\n') + 1)))]).toString('base64')}`,
    ),
  },
  'the signature of another key': {
    text: [...lines.slice(0, 4), signCheckpoint(other, head).split('\n')[4], ''].join('\n'),
  },
  'another key': { key: other.verifierKey },
  'a key with the id of another': { key: key.verifierKey.replace(/\+[0-9a-f]{8}\+/, '+00000000+') },
  'a key of another kind': { key: key.verifierKey.replace(/\+A[A-Za-z]/, '+Ag') },
  'no key': { key: '' },
  'nothing at all': { text: '' },
}

describe.each(Object.entries(readers))('the checkpoint reader of the %s', (_, read) => {
  it('reads a checkpoint under its own key', async () => {
    expect(await read(text, key.verifierKey)).toMatchObject({
      treeSize: 42,
      root: head.root,
      origin: `${key.name}/T-7.1`,
    })
    expect(await read(text, `${key.verifierKey}\n`)).toMatchObject({ treeSize: 42 })
  })

  it('reads a text that was signed by hand, so that a refusal is about the form', async () => {
    expect(await read(signedWith(1, '43'), key.verifierKey)).toMatchObject({ treeSize: 43 })
  })

  it('reads the checkpoint of an empty ledger', async () => {
    const empty = signCheckpoint(key, { runId: 'T-9.1', treeSize: 0, root: sha256Hex('') })
    expect(await read(empty, key.verifierKey)).toMatchObject({ treeSize: 0 })
  })

  it.each(Object.entries(refusals))('refuses %s', async (_name, change) => {
    await expect(read(change.text ?? text, change.key ?? key.verifierKey)).rejects.toMatchObject({
      code: 'checkpoint-bad',
    })
  })

  it('refuses a flipped bit anywhere in the signature', async () => {
    const signature = Buffer.from((lines[4] ?? '').split(' ')[2] ?? '', 'base64')
    for (let bit = 0; bit < signature.length * 8; bit += 13) {
      const flipped = Buffer.from(signature)
      flipped[bit >> 3]! ^= 1 << (bit & 7)
      const changed = withLine(4, `— ${key.name} ${flipped.toString('base64')}`)
      await expect(read(changed, key.verifierKey)).rejects.toMatchObject({ code: 'checkpoint-bad' })
    }
  })
})
