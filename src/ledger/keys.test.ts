// The signing key in its folder.
import { generateKeyPairSync } from 'node:crypto'
import { chmod, mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { sha256Hex } from '../kernel/bytes.ts'
import { systemRandom } from '../kernel/clock.ts'
import { readCheckpoint, signCheckpoint } from './checkpoint.ts'
import { openSigningKey } from './keys.ts'

let folder: string
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-keys-'))
})
afterEach(() => rm(folder, { recursive: true }))

const openKey = () => openSigningKey({ folder, random: systemRandom })
const head = { runId: 'T-7.1', treeSize: 3, root: sha256Hex('root') }

describe('the signing key', () => {
  it('is made once, and the same key signs after a restart', async () => {
    const first = await openKey()
    const second = await openKey()
    expect(second.verifierKey).toBe(first.verifierKey)
    expect(readCheckpoint(signCheckpoint(second, head), first.verifierKey)).toMatchObject(head)
  })

  it('differs from installation to installation', async () => {
    const first = await openKey()
    await rm(join(folder, 'signing.pem'))
    await rm(join(folder, 'signing.pub'))
    expect((await openKey()).name).not.toBe(first.name)
  })

  it('leaves two files, the private one for its owner alone, and nothing temporary', async () => {
    const { verifierKey } = await openKey()
    expect((await readdir(folder)).toSorted()).toEqual(['signing.pem', 'signing.pub'])
    expect((await stat(join(folder, 'signing.pem'))).mode & 0o777).toBe(0o600)
    expect(await readFile(join(folder, 'signing.pub'), 'utf8')).toBe(`${verifierKey}\n`)
  })

  it('writes the public half again when a crash left it out, whatever half-written file lies there', async () => {
    const { verifierKey } = await openKey()
    await rm(join(folder, 'signing.pub'))
    await writeFile(join(folder, 'signing.pub.part'), 'half')
    await openKey()
    expect(await readFile(join(folder, 'signing.pub'), 'utf8')).toBe(`${verifierKey}\n`)
    expect(await readdir(folder)).toHaveLength(2)
  })

  it('is refused when others may read it', async () => {
    await openKey()
    await chmod(join(folder, 'signing.pem'), 0o640)
    await expect(openKey()).rejects.toMatchObject({ code: 'key-bad', place: { file: join(folder, 'signing.pem') } })
  })

  it('is refused beside the public half of another', async () => {
    await openKey()
    await writeFile(join(folder, 'signing.pub'), 'rollcall/00000000+00000000+AAAA\n')
    await expect(openKey()).rejects.toMatchObject({ code: 'key-bad', place: { file: join(folder, 'signing.pub') } })
  })

  it('is refused when it is no PEM text, or a key of another kind, and is not replaced', async () => {
    const path = join(folder, 'signing.pem')
    const { privateKey } = generateKeyPairSync('ec', { namedCurve: 'P-256' })
    for (const text of ['', 'no key', privateKey.export({ format: 'pem', type: 'pkcs8' })]) {
      await writeFile(path, text, { mode: 0o600 })
      await expect(openKey()).rejects.toMatchObject({ code: 'key-bad', place: { file: path } })
      expect(await readFile(path, 'utf8')).toBe(text)
    }
  })
})
