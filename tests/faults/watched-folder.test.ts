// The watched folder against slow, broken and repeated deliveries.
import { appendFile, readdir, readFile, rename, truncate, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { draftFiles, plainDraft } from '../fixtures/packages.ts'
import { createWatchBench } from '../fixtures/watch-bench.ts'
import { zipOfFiles } from '../fixtures/zips.ts'

const w = createWatchBench()
beforeEach(() => w.setUp())
afterEach(() => w.tearDown())

describe('a delivery', () => {
  it('that is moved in whole is published at first sight, and removed', async () => {
    await w.moveIn(await plainDraft())
    await w.look()
    expect(w.said()).toEqual(['published delivery'])
    expect(await readdir(w.bench.intake)).toEqual([])
    expect(await w.bench.left()).toEqual({ staged: 0, blobs: 4, packages: 1 })
  })

  it('as a ZIP is published once it did not change between two looks', async () => {
    await writeFile(join(w.bench.intake, 'a.zip'), zipOfFiles(draftFiles(await plainDraft())))
    await w.look()
    expect(w.said()).toEqual([])
    await w.look()
    expect(w.said()).toEqual(['published a.zip'])
    expect(await readdir(w.bench.intake)).toEqual([])
  })

  it.each([
    ['first', (names: string[]) => names.sort((a, b) => Number(b === 'job.json') - Number(a === 'job.json'))],
    ['last', (names: string[]) => names.sort((a, b) => Number(a === 'job.json') - Number(b === 'job.json'))],
  ])('that is copied slowly, the manifest %s, is published when the last file is whole', async (_, order) => {
    const files = draftFiles(await plainDraft())
    for (const name of order([...files.keys()])) {
      const bytes = files.get(name)!
      await w.look()
      expect(w.said()).toEqual([])
      await w.put(name, bytes.subarray(0, Math.floor(bytes.length / 2)))
      w.nowMs += 20_000
      await w.look()
      expect(w.said()).toEqual([])
      await w.put(name, bytes)
      w.nowMs += 20_000
    }
    await w.look()
    await w.look()
    expect(w.said()).toEqual(['published delivery'])
  })

  it('as a ZIP that is copied slowly is not touched before its end is there', async () => {
    const bytes = zipOfFiles(draftFiles(await plainDraft()))
    const path = join(w.bench.intake, 'a.zip')
    await writeFile(path, '')
    for (let at = 0; at < bytes.length; at += Math.ceil(bytes.length / 4)) {
      await appendFile(path, bytes.subarray(at, at + Math.ceil(bytes.length / 4)))
      await w.look()
      w.nowMs += 20_000
      expect(w.said()).toEqual([])
    }
    await w.look()
    expect(w.said()).toEqual(['published a.zip'])
  })

  it('that stays half is judged as it stands once nothing changed for long, and refused with its findings beside it', async () => {
    await w.moveIn(await plainDraft())
    await truncate(join(w.bench.intake, 'delivery/LIME/relief.png'), 40)
    await w.look()
    w.nowMs += 29_999
    await w.look()
    expect(w.said()).toEqual([])
    w.nowMs += 1
    await w.look()
    expect(w.said()).toEqual(['refused delivery: file-digest'])
    const beside = join(w.bench.refused, 'delivery-1')
    expect((await readdir(beside)).sort()).toEqual(['delivery', 'findings.json', 'findings.txt'])
    expect(JSON.parse(await readFile(join(beside, 'findings.json'), 'utf8'))).toMatchObject({
      code: 'package-refused',
      status: 422,
      findings: [{ code: 'file-digest', file: 'LIME/relief.png' }],
    })
    expect(await readFile(join(beside, 'findings.txt'), 'utf8')).toContain('LIME/relief.png')
    expect(await readdir(w.bench.intake)).toEqual([])
    expect(await w.bench.left()).toEqual({ staged: 0, blobs: 0, packages: 0 })
  })

  it.each([
    ['a manifest that is not JSON', 'job.json', '{"job":', 'manifest-not-json'],
    ['no manifest', 'readme.txt', 'hello', 'manifest-missing'],
  ])('with %s waits as long, and is refused', async (_, name, text, code) => {
    await w.put(name, Buffer.from(text))
    await w.look()
    expect(w.said()).toEqual([])
    w.nowMs += 30_000
    await w.look()
    expect(w.said()).toEqual([`refused delivery: ${code}`])
  })

  it('of a file that is no ZIP waits as long, and is refused', async () => {
    await writeFile(join(w.bench.intake, 'holiday.txt'), 'not a zip')
    await w.look()
    await w.look()
    w.nowMs += 30_000
    await w.look()
    expect(w.said()).toEqual(['refused holiday.txt: zip-bad'])
  })

  it('that is whole but bad is refused at first sight', async () => {
    const draft = await plainDraft()
    draft.manifest.frame.pitchMm = 14
    await w.moveIn(draft)
    await w.look()
    expect(w.said()[0]).toMatch(/^refused delivery: cell-off-web/)
  })

  it('of the same twice is a no-op that says so', async () => {
    for (const name of ['one', 'two']) {
      await w.moveIn(await plainDraft(), name)
      await w.look()
    }
    expect(w.said()).toEqual(['published one', 'unchanged two'])
    expect(await readdir(w.bench.intake)).toEqual([])
  })

  it('that was refused can be mended and put in again, under the same name', async () => {
    const draft = await plainDraft()
    draft.files.set('extra.txt', Buffer.from('x'))
    await w.moveIn(draft)
    await w.look()
    await w.moveIn(draft)
    await w.look()
    draft.files.delete('extra.txt')
    await w.moveIn(draft)
    await w.look()
    expect(w.said()).toEqual(['refused delivery: file-extra', 'refused delivery: file-extra', 'published delivery'])
    expect((await readdir(w.bench.refused)).sort()).toEqual(['delivery-1', 'delivery-2'])
  })

  it('that was refused and is moved back as it is gets another try', async () => {
    const draft = await plainDraft()
    await w.moveIn(await plainDraft(), 'first')
    await w.look()
    draft.manifest.title = 'Another'
    await w.moveIn(draft)
    await w.look()
    await rename(join(w.bench.refused, 'delivery-1/delivery'), join(w.bench.intake, 'delivery'))
    await w.look()
    const refusal = 'refused delivery: package-number-not-higher'
    expect(w.said()).toEqual(['published first', refusal, refusal])
  })

  it('that is still named as unfinished or hidden is let be', async () => {
    for (const name of ['.hidden', 'a.zip.part', 'b.TMP']) await writeFile(join(w.bench.intake, name), 'x')
    w.nowMs += 100_000
    await w.look()
    w.nowMs += 100_000
    await w.look()
    expect(w.said()).toEqual([])
    expect((await readdir(w.bench.intake)).sort()).toEqual(['.hidden', 'a.zip.part', 'b.TMP'])
  })

  it('beside a bad one is not held up by it', async () => {
    await writeFile(join(w.bench.intake, 'a.zip'), 'bad')
    await w.moveIn(await plainDraft(), 'b')
    await w.look()
    expect(w.said()).toEqual(['published b'])
  })
})
