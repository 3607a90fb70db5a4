// The packages kept under demo-jobs: what the script draws, complete, and spoiled only where they should be.
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import sharp from 'sharp'
import { beforeAll, describe, expect, it } from 'vitest'
import { drawPackages } from '../../demo-jobs/draw-layers.ts'
import type { DrawnPackage } from '../../demo-jobs/drawn-package.ts'
import { demoFiles, demoFolder } from '../../demo-jobs/folders.ts'
import { spoiledFaults } from '../../demo-jobs/quillgarth-preserves/spoiled-package.ts'
import { demoScenarios } from '../../demo-jobs/scenarios.ts'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import { lineSchema } from '../../src/lines/index.ts'
import { openPackageBench } from '../fixtures/packages.ts'

let drawn: readonly DrawnPackage[] = []
beforeAll(async () => {
  drawn = await drawPackages()
})

const kept = (folder: string, file: string): Buffer => readFileSync(join(demoFolder, folder, file))
const manifestOf = (folder: string): DrawnPackage['manifest'] => JSON.parse(kept(folder, 'job.json').toString())
const withoutDigests = (manifest: unknown) =>
  JSON.parse(JSON.stringify(manifest, (key, value) => (key === 'sha256' ? undefined : value)))

// Another processor may round a shade differently, so pictures are compared by how far they are apart on average.
async function meanDifference(one: Uint8Array, other: Uint8Array): Promise<number> {
  const [a, b] = await Promise.all(
    [one, other].map((bytes) => sharp(bytes).raw().toBuffer({ resolveWithObject: true })),
  )
  expect(a!.info).toEqual(b!.info)
  return a!.data.reduce((sum, value, at) => sum + Math.abs(value - b!.data[at]!), 0) / a!.data.length
}

describe('the packages kept', () => {
  it('are those that the script draws', async () => {
    for (const { folder, manifest, files } of drawn) {
      expect(withoutDigests(manifestOf(folder))).toEqual(withoutDigests(manifest))
      const names = readdirSync(join(demoFolder, folder), { recursive: true, withFileTypes: true }).filter((one) =>
        one.isFile(),
      )
      expect(names).toHaveLength(files.size + 1)
      for (const [path, bytes] of files) {
        if (!path.startsWith('proofs') && !path.endsWith('.csv'))
          expect(await meanDifference(kept(folder, path), bytes)).toBeLessThan(0.5)
      }
    }
  })

  it('state the digests of their files, the planted fault aside', () => {
    const faults = drawn.flatMap(({ folder }) =>
      manifestOf(folder)
        .designs.flatMap(({ layers }) => layers)
        .filter(({ file, sha256 }) => sha256Hex(kept(folder, file)) !== sha256)
        .map(({ file }) => file),
    )
    expect(faults).toEqual(spoiledFaults.filter(({ code }) => code === 'file-digest').map(({ where }) => where))
  })

  it('hold every kind of layer file: gray of 8 and 16 bits, and masks of 1 bit, each as PNG and as TIFF', async () => {
    const kinds = new Set<string>()
    for (const { files } of drawn.slice(0, -1)) {
      for (const [path, bytes] of files) {
        if (path.endsWith('.csv')) continue
        const { format, bitsPerSample, channels } = await sharp(bytes).metadata()
        expect(channels).toBe(1)
        kinds.add(`${format} ${bitsPerSample}`)
      }
    }
    expect([...kinds].sort()).toEqual(['png 1', 'png 16', 'png 8', 'tiff 1', 'tiff 16', 'tiff 8'])
  })

  it('come with a line that fits its schema and has the stations that they need', () => {
    const line = lineSchema.parse(JSON.parse(readFileSync(demoFiles.line, 'utf8')))
    expect(line.stations.map(({ station }) => station)).toEqual(['foil', 'inkjet'])
  })

  it('are those that the demo publishes', () => {
    const published = new Set(demoScenarios.flatMap(({ packages }) => packages.map(({ source }) => source)))
    const sound = drawn.slice(0, -1).map(({ folder }) => join(demoFolder, folder))
    expect([...published].sort()).toEqual(sound.sort())
  })

  it('have nothing wrong with them, as far as their matching rules are built', async () => {
    const bench = await openPackageBench()
    try {
      for (const { folder } of drawn.slice(0, -1)) {
        const { findings } = await bench.packages.check({ path: join(demoFolder, folder) })
        expect(findings).toEqual([])
      }
    } finally {
      await bench.close()
    }
  })

  it('hold a code table where the rule wants one, with the digest that the manifest states', () => {
    const coded = drawn.flatMap(({ folder }) => {
      const { code } = JSON.parse(kept(folder, 'job.json').toString()) as {
        code: { rule: string; file?: string; sha256?: string }
      }
      return code.rule === 'table' ? [{ folder, ...code }] : []
    })
    expect(coded.map(({ folder }) => folder)).toEqual(['thrushwick-gins/package-1', 'thrushwick-winter/package-1'])
    for (const { folder, file, sha256 } of coded) {
      const bytes = kept(folder, file!)
      expect(sha256Hex(bytes)).toBe(sha256)
      expect(bytes.length).toBeLessThan(300_000)
      expect(bytes.equals(drawn.find((one) => one.folder === folder)!.files.get(file!)!)).toBe(true)
    }
  })
})
