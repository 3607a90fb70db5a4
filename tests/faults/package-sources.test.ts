// Bad ZIPs and sources, and a full disk: each is refused by name, and leaves nothing behind.
import { chmod, mkdir, symlink, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Problem } from '../../src/kernel/problem.ts'
import { inlineThreads } from '../../src/packages/index.ts'
import { intakeLimits } from '../../src/packages/staging.ts'
import {
  draftFiles,
  openPackageBench,
  type PackageBench,
  plainDraft,
  problemOf,
  writeDraft,
} from '../fixtures/packages.ts'
import { refusing } from '../fixtures/refusals.ts'
import { zipOf, zipOfFiles, zipStating } from '../fixtures/zips.ts'

let bench: PackageBench
beforeEach(async () => {
  bench = await openPackageBench()
})
afterEach(() => bench.close())

const { refusalOf, refusedZip } = refusing(() => bench)
const nothing = { staged: 0, blobs: 0, packages: 0 }

describe('a ZIP', () => {
  const entry = (name: string | Uint8Array, text = 'x') => ({ name, bytes: Buffer.from(text) })

  it('is published from its root or from one folder in it', async () => {
    const draft = await plainDraft()
    const path = join(await bench.source(), 'a.zip')
    await writeFile(path, zipOfFiles(draftFiles(draft), 'my package/'))
    await expect(bench.packages.publish({ path, by: 'tester' })).resolves.toMatchObject({ outcome: 'published' })
    await writeFile(path, zipOfFiles(draftFiles(draft)))
    await expect(bench.packages.publish({ path, by: 'tester' })).resolves.toMatchObject({ outcome: 'unchanged' })
  })

  it('that unpacks to gigabytes is refused before it is unpacked', async () => {
    const bomb = { ...entry('job.json'), statedBytes: 3_000_000_000 }
    expect(await refusedZip(zipOf([bomb]))).toMatchObject({
      code: 'zip-too-large',
      place: { file: 'job.json', limit: 1_000 },
    })
    const large = Array.from({ length: 40 }, (_, i) => ({
      name: `${i}`,
      bytes: Buffer.alloc(4_000_000),
      statedBytes: 4_000_000_000,
    }))
    expect(await refusedZip(zipOf(large))).toMatchObject({ code: 'zip-too-large' })
  })

  it('that unpacks to more than it states is refused when it does', async () => {
    const liar = { name: 'job.json', bytes: Buffer.alloc(5_000_000), statedBytes: 100 }
    expect(await refusedZip(zipOf([liar]))).toMatchObject({ code: 'zip-bad', place: { file: 'job.json' } })
  })

  it('that unpacks to more than the limit is refused', async () => {
    await bench.close()
    bench = await openPackageBench({ held: { ...intakeLimits, bytesMax: 50_000 } })
    const many = Array.from({ length: 6 }, (_, i) => entry(`${i}`, 'y'.repeat(10_000)))
    expect(await refusedZip(zipOf(many))).toMatchObject({
      code: 'zip-too-large',
      place: { measured: 60_000, limit: 50_000 },
    })
  })

  it('that counts a million entries is refused by the count', async () => {
    const started = performance.now()
    expect(await refusedZip(zipStating(1_000_000))).toMatchObject({
      code: 'zip-too-large',
      place: { measured: 1_000_000, limit: 100_000 },
    })
    expect(performance.now() - started).toBeLessThan(1_000)
  })

  it('whose directory lies beyond anything that a file can hold is refused', async () => {
    const zip = zipStating(0)
    // The place of the ZIP64 end record, in its locator: APPNOTE 4.3.15.
    zip.writeBigUInt64LE(0x5b00_0000_0000_0400n, zip.indexOf('PK\x06\x07', 0, 'latin1') + 8)
    expect(await refusedZip(zip)).toMatchObject({ code: 'zip-bad' })
  })

  it('that holds more entries than it counts is refused', async () => {
    const entries = [entry('job.json'), ...Array.from({ length: 5 }, (_, i) => entry(`${i}`))]
    expect(await refusedZip(zipOf(entries, { count: 2 }))).toMatchObject({ code: 'zip-bad' })
  })

  it('whose entries share packed bytes is refused', async () => {
    const zeros = { name: 'a', bytes: Buffer.alloc(100_000) }
    expect(await refusedZip(zipOf([zeros, { ...zeros, name: 'b', sharesWith: 0 }]))).toMatchObject({
      code: 'zip-bad',
      place: { file: 'b' },
    })
  })

  it('with links, encrypted entries, other methods, bad and double names is refused at each', async () => {
    const entries = [
      ...[...draftFiles(await plainDraft())].map(([name, bytes]) => ({ name, bytes })),
      { ...entry('link'), mode: 0o120777 },
      { ...entry('secret'), flags: 0x801 },
      { ...entry('odd'), method: 12 },
      entry('../up'),
      entry('/abs'),
      entry('C:/x'),
      entry('a\\b'),
      entry('nul\0'),
      entry('same'),
      entry('same'),
      entry('SAME'),
    ]
    const { findings } = await refusedZip(zipOf(entries))
    const at = findings.map(({ code, file }) => `${code} ${file}`)
    expect(at).toEqual([
      'file-path link',
      'zip-bad secret',
      'zip-bad odd',
      'file-path ../up',
      'file-path /abs',
      'file-path C:/x',
      'file-path a\\\\b',
      'file-path nul\\u0000',
      'file-path same',
      'file-path SAME',
      'file-extra same',
    ])
  })

  it('with a wrong checksum is refused', async () => {
    expect(await refusedZip(zipOf([{ ...entry('job.json', '{}'), crc: 1 }]))).toMatchObject({
      code: 'zip-bad',
      place: { file: 'job.json' },
    })
  })

  it('cut off anywhere, or no ZIP at all, is refused', async () => {
    const whole = zipOfFiles(draftFiles(await plainDraft()))
    for (const share of [0, 0.01, 0.5, 0.99]) {
      expect(await refusedZip(whole.subarray(0, Math.floor(whole.length * share)))).toMatchObject({ code: 'zip-bad' })
    }
    expect(await refusedZip(Buffer.from('not a zip'))).toMatchObject({ code: 'zip-bad' })
  })

  it('inside of a ZIP is an extra file', async () => {
    const files = draftFiles(await plainDraft())
    files.set('inner.zip', zipOf([entry('job.json')]))
    expect((await refusedZip(zipOfFiles(files))).findings).toMatchObject([{ code: 'file-extra', file: 'inner.zip' }])
  })
})

describe('a source', () => {
  it('that is not there, or neither folder nor file, is refused', async () => {
    expect(await refusalOf(join(bench.folder, 'absent'))).toMatchObject({ code: 'package-not-found' })
    const folder = await bench.source()
    await symlink(folder, join(bench.folder, 'link'))
    expect(await refusalOf(join(bench.folder, 'link'))).toMatchObject({ code: 'file-path' })
  })

  it('needs a named publisher', async () => {
    const path = await bench.source()
    expect(await problemOf(bench.packages.publish({ path, by: ' ' }))).toMatchObject({ code: 'bad-request' })
  })
})

describe('a full disk', () => {
  it('while blobs are stored is told as such, and the package can be published later', async () => {
    let isFull = true
    const { blobs, deps } = bench
    const full: typeof blobs = {
      ...blobs,
      put: (...given) => (isFull ? Promise.reject(new Problem('data-full', 'the disk is full')) : blobs.put(...given)),
    }
    const { openPackages } = await import('../../src/packages/index.ts')
    const packages = openPackages({ ...deps, blobs: full, threads: inlineThreads })
    const path = await bench.source()
    await writeDraft(path, await plainDraft())
    expect(await problemOf(packages.publish({ path, by: 'tester' }))).toMatchObject({ code: 'data-full' })
    expect(await bench.left()).toEqual(nothing)
    isFull = false
    await expect(packages.publish({ path, by: 'tester' })).resolves.toMatchObject({ outcome: 'published' })
  })

  it('leaves a folder that cannot be read to the caller', async () => {
    const path = await bench.source()
    await mkdir(join(path, 'shut'))
    await chmod(join(path, 'shut'), 0o000)
    if (process.getuid?.() !== 0) await expect(bench.packages.publish({ path, by: 'tester' })).rejects.toThrow('EACCES')
    await chmod(join(path, 'shut'), 0o700)
    expect(await bench.left()).toEqual(nothing)
  })
})
