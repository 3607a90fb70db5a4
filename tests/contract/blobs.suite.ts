// What every blob store must keep (src/storage/port.ts).
import { mkdtemp, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { buffer } from 'node:stream/consumers'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { digestPattern, sha256Hex, toDigest } from '../../src/kernel/bytes.ts'
import type { BlobStore } from '../../src/storage/index.ts'
import type { BlobsAdapter } from './blobs-adapters.ts'
import { startFixture, takeLines } from './fixtures/spawn.ts'

export function describeBlobs(adapter: BlobsAdapter): void {
  describe(`blobs in ${adapter.name}`, () => {
    let where: string
    let blobs: BlobStore

    beforeEach(async () => {
      where = await mkdtemp(join(tmpdir(), 'rollcall-blobs-'))
      blobs = await adapter.open(where)
    })
    afterEach(() => rm(where, { recursive: true }))

    const bytes = Buffer.from('a height layer')
    const digest = sha256Hex(bytes)
    const other = sha256Hex('something else')

    it('gives back what was put, from bytes and from a file, under its digest', async () => {
      expect(await blobs.put({ bytes })).toEqual({ digest, bytes: bytes.length })
      expect(Buffer.from(await blobs.read(digest))).toEqual(bytes)
      expect(await blobs.size(digest)).toBe(bytes.length)
      const path = join(where, 'layer.png')
      const large = Buffer.alloc(5_000_001, 'layer')
      await writeFile(path, large)
      expect(await blobs.put({ path }, sha256Hex(large))).toEqual({ digest: sha256Hex(large), bytes: large.length })
      expect(Buffer.from(await blobs.read(sha256Hex(large))).equals(large)).toBe(true)
      expect(await stat(path)).toMatchObject({ size: large.length })
    })

    it('holds any bytes, none included, and is the same after a reopening', async () => {
      await fc.assert(
        fc.asyncProperty(fc.uint8Array({ maxLength: 300 }), async (some) => {
          const put = await blobs.put({ bytes: some })
          expect(put).toEqual({ digest: sha256Hex(some), bytes: some.length })
          const again = await adapter.open(where)
          expect(Buffer.from(await again.read(put.digest))).toEqual(Buffer.from(some))
          expect(await again.condition(put.digest)).toBe('sound')
        }),
        { numRuns: 30 },
      )
    })

    it('streams a range with both ends included, or all', async () => {
      await blobs.put({ bytes })
      expect(String(await buffer(blobs.stream(digest, { start: 2, end: 7 })))).toBe('height')
      expect(String(await buffer(blobs.stream(digest)))).toBe('a height layer')
    })

    it('keeps nothing of bytes with another digest than expected', async () => {
      const path = join(where, 'layer.png')
      await writeFile(path, bytes)
      const refusal = { code: 'file-digest', place: { measured: digest, limit: other } }
      await expect(blobs.put({ bytes }, other)).rejects.toMatchObject(refusal)
      await expect(blobs.put({ path }, other)).rejects.toMatchObject({ ...refusal, place: { file: path } })
      expect(await adapter.contents(where)).toEqual([])
    })

    it('refuses a file with another digest even when the one expected is there', async () => {
      await blobs.put({ bytes })
      const path = join(where, 'changed.png')
      await writeFile(path, 'something else')
      await expect(blobs.put({ path }, digest)).rejects.toMatchObject({ code: 'file-digest' })
      expect(await adapter.contents(where)).toEqual([digest])
    })

    it('names a source that is absent or no plain file, and keeps nothing', async () => {
      await expect(blobs.put({ path: join(where, 'absent') })).rejects.toMatchObject({ code: 'file-missing' })
      await expect(blobs.put({ path: where })).rejects.toMatchObject({ code: 'file-path' })
      expect(await adapter.contents(where)).toEqual([])
    })

    it('stores the same bytes once, also when they are put at the same time', async () => {
      await Promise.all(Array.from({ length: 8 }, () => blobs.put({ bytes })))
      await blobs.put({ bytes }, digest)
      expect(await adapter.contents(where)).toEqual([digest])
    })

    it('finds a lost blob', async () => {
      await blobs.put({ bytes })
      expect(await blobs.condition(digest)).toBe('sound')
      await adapter.lose(where, digest)
      expect(await blobs.condition(digest)).toBe('missing')
      expect(await blobs.size(digest)).toBeUndefined()
      await expect(blobs.read(digest)).rejects.toMatchObject({ code: 'blob-not-found' })
      await expect(buffer(blobs.stream(digest))).rejects.toThrow()
    })

    it.each([
      ['of the same length', Buffer.from('a height lawyer').subarray(0, 14)],
      ['cut short', bytes.subarray(0, 5)],
      ['emptied', Buffer.alloc(0)],
      ['grown', Buffer.from('a height layer and more')],
    ])('finds a damaged blob at once: %s', async (_, damaged) => {
      await blobs.put({ bytes })
      expect(await blobs.condition(digest)).toBe('sound')
      await adapter.damage(where, digest, damaged)
      expect(await blobs.condition(digest)).toBe('damaged')
      await expect(blobs.read(digest)).rejects.toMatchObject({
        code: 'blob-damaged',
        place: { measured: sha256Hex(damaged), limit: digest },
      })
    })

    it('mends a damaged or lost blob when the bytes are put again', async () => {
      await blobs.put({ bytes })
      await adapter.damage(where, digest, Buffer.from('rubbish'))
      await blobs.put({ bytes }, digest)
      expect(await blobs.condition(digest)).toBe('sound')
      await adapter.lose(where, digest)
      await blobs.put({ bytes })
      expect(await blobs.condition(digest)).toBe('sound')
      expect(await adapter.contents(where)).toEqual([digest])
    })

    it('leaves no unfinished blob behind when it is killed during a put', async () => {
      const path = join(where, 'large.tif')
      await writeFile(path, Buffer.alloc(40_000_000, 'layer'))
      const fixture = startFixture('put-until-killed.ts', adapter.name, where, path)
      const lines = await takeLines(fixture, 4)
      const seen = [...lines, ...(await fixture.kill())].filter((line) => digestPattern.test(line)).map(toDigest)
      blobs = await adapter.open(where)
      const contents = await adapter.contents(where)
      expect(contents.filter((name) => !digestPattern.test(name))).toEqual([])
      expect(contents).toEqual(expect.arrayContaining(seen))
      const conditions = await Promise.all(contents.map((name) => blobs.condition(toDigest(name))))
      expect(new Set(conditions)).toEqual(new Set(['sound']))
    })

    it('leaves alone what a put of this process has not finished when the store is opened again', async () => {
      const path = join(where, 'large.tif')
      const large = Buffer.alloc(20_000_000, 'layer')
      await writeFile(path, large)
      const [put] = await Promise.all([blobs.put({ path }), adapter.open(where), adapter.open(where)])
      expect(await blobs.condition(put.digest)).toBe('sound')
    })
  })
}
