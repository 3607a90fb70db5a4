// The layer sums' memory: each layer is read once a curve, whoever asks and however often; lost bytes are said to be lost.
import { rm, writeFile } from 'node:fs/promises'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { grayImage, openPackageBench, type PackageBench } from '../../tests/fixtures/packages.ts'
import { toDigest } from '../kernel/bytes.ts'
import { inlineThreads, openLayerSums, type PackageThreads } from './index.ts'

let bench: PackageBench
let reads: number
beforeEach(async () => {
  bench = await openPackageBench()
  reads = 0
})
afterEach(() => bench.close())

const threads: PackageThreads = {
  run(task, options) {
    reads += 1
    return inlineThreads.run(task, options)
  },
}
const open = () => openLayerSums({ database: bench.database, blobs: bench.blobs, threads })
const resolution = { acrossDpi: 254, alongDpi: 254 }
const curve = [
  { gray: 0, height: 0 },
  { gray: 1, height: 0.5 },
]

async function stored(gray: number): Promise<ReturnType<typeof toDigest>> {
  const bytes = await grayImage({ width: 100, height: 50 }, () => gray)
    .png()
    .toBuffer()
  return (await bench.blobs.put({ bytes })).digest
}

describe('layer sums', () => {
  it('are read once a curve, kept across restarts, and the same to the bit', async () => {
    const digest = await stored(255)
    const first = await open().of({ digest, resolution })
    expect([first.fullMm2, reads]).toEqual([50, 1].map((value) => expect.closeTo(value, 9)))
    expect(await open().of({ digest, resolution })).toEqual(first)
    expect(reads).toBe(1)
    expect((await open().of({ digest, resolution, curve })).fullMm2).toBeCloseTo(25, 9)
    expect((await open().of({ digest, resolution: { acrossDpi: 254, alongDpi: 508 } })).fullMm2).toBeCloseTo(25, 9)
    expect(reads).toBe(3)
  })

  it('asked for by many at once are read once', async () => {
    const digest = await stored(255)
    const sums = open()
    const all = await Promise.all([1, 2, 3, 4].map(() => sums.of({ digest, resolution })))
    expect(new Set(all.map(({ fullMm2 }) => fullMm2)).size).toBe(1)
    expect(reads).toBe(1)
  })

  it('say what would have to be read, each once, lost bytes aside', async () => {
    const [digest, known] = [await stored(255), await stored(10)]
    const lost = { digest: toDigest('a'.repeat(64)), resolution }
    const sums = open()
    await sums.of({ digest: known, resolution })
    const asked = [digest, known, digest].map((one) => ({ digest: one, resolution }))
    expect(await sums.missing([...asked, lost])).toEqual([{ digest, resolution }])
  })

  it('of bytes that are lost or rotted are refused', async () => {
    const digest = await stored(255)
    const file = await bench.blobs.localFile(digest)
    await rm(file, { force: true })
    await writeFile(file, 'rotten')
    await expect(open().of({ digest, resolution })).rejects.toMatchObject({ code: 'blob-damaged' })
    await rm(file)
    await expect(open().of({ digest, resolution })).rejects.toMatchObject({ code: 'blob-not-found' })
    expect(reads).toBe(0)
  })

  it('are waited for no longer than the signal allows, and read all the same', async () => {
    const digest = await stored(255)
    const stop = new AbortController()
    const slow: PackageThreads = {
      async run(task) {
        reads += 1
        stop.abort(new Error('enough'))
        return inlineThreads.run(task)
      },
    }
    const sums = openLayerSums({ database: bench.database, blobs: bench.blobs, threads: slow })
    const patient = sums.of({ digest, resolution })
    await expect(sums.of({ digest, resolution }, stop.signal)).rejects.toThrow('enough')
    expect((await patient).fullMm2).toBeCloseTo(50, 9)
    expect(reads).toBe(1)
  })
})
