// Publishing and checking packages on a real database and real blobs.
import { rm } from 'node:fs/promises'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import {
  type Draft,
  openPackageBench,
  type PackageBench,
  plainDraft,
  problemOf,
  writeDraft,
} from '../../tests/fixtures/packages.ts'
import { sha256Hex, toDigest } from '../kernel/bytes.ts'
import { inlineThreads, openPackages, type PackageTask, type PackageThreads } from './index.ts'

let bench: PackageBench
beforeEach(async () => {
  bench = await openPackageBench()
})
afterEach(() => bench.close())

const sourceOf = async (draft: Draft): Promise<string> => {
  const path = await bench.source()
  await writeDraft(path, draft)
  return path
}

describe('publishing', () => {
  it('stores every layer, leaves the source alone and empties staging', async () => {
    const draft = await plainDraft()
    const path = await sourceOf(draft)
    const told: number[] = []
    const published = await bench.packages.publish({ path, by: 'Ann', progress: (share) => told.push(share) })
    expect(published).toMatchObject({
      outcome: 'published',
      job: 'J7',
      package: 1,
      newVersions: [
        { design: 'LIME', version: 1 },
        { design: 'PLUM', version: 1 },
      ],
    })
    for (const bytes of draft.files.values()) {
      expect(Buffer.compare(await bench.blobs.read(sha256Hex(bytes)), bytes)).toBe(0)
    }
    expect(await bench.left()).toEqual({ staged: 0, blobs: 4, packages: 1 })
    expect(told).toEqual([...told].sort((a, b) => a - b))
    expect([told[0], told.at(-1)]).toEqual([0, 1])
    await rm(path, { recursive: true })
    expect(await bench.blobs.condition(toDigest(draft.manifest.designs[0]!.layers[0]!.sha256))).toBe('sound')
  })

  it('appears in the catalogue at once, as checked versions, and tells the listeners', async () => {
    const heard: number[] = []
    bench.catalogue.onChange(({ catalogue }) => heard.push(catalogue.revision))
    await bench.publish(await plainDraft())
    const job = bench.catalogue.current().jobs.get('J7')!
    expect(job).toMatchObject({ title: 'Invented fruit', packages: [{ package: 1, by: 'tester' }] })
    expect(job.designs.get('LIME')).toMatchObject([
      { version: 1, state: 'checked', packages: [1], printVersions: ['01', '02'] },
    ])
    expect(job.rule.match('J7-LIME.02/000001')).toEqual({ design: 'LIME', print: '02', serial: '000001' })
    expect(heard).toEqual([1])
  })

  it('keeps versions that a later package carries along unchanged, and counts only new ones', async () => {
    await bench.publish(await plainDraft())
    const next = await plainDraft()
    next.manifest.package = 4
    next.manifest.designs[1]!.version = 2
    await expect(bench.publish(next)).resolves.toMatchObject({ newVersions: [{ design: 'PLUM', version: 2 }] })
    const { designs, packages } = bench.catalogue.current().jobs.get('J7')!
    expect(packages.map((one) => one.package)).toEqual([1, 4])
    expect(designs.get('LIME')!.map(({ version, packages: carried }) => [version, carried])).toEqual([[1, [1, 4]]])
    expect(designs.get('PLUM')!.map(({ version, packages: carried }) => [version, carried])).toEqual([
      [1, [1]],
      [2, [4]],
    ])
  })

  it('mends what the disk lost of a package when the same package is given again', async () => {
    const draft = await plainDraft()
    const csv = Buffer.from('code,design\nX1,LIME\nX2,PLUM\n')
    draft.manifest.code = { rule: 'table', symbologies: ['qr'], file: 'codes.csv', sha256: '0'.repeat(64) }
    draft.files.set('codes.csv', csv)
    await bench.publish(draft)
    const job = bench.catalogue.current().jobs.get('J7')!
    const layer = toDigest(job.designs.get('LIME')![0]!.layers[0]!.sha256)
    const index = toDigest(job.codeIndexes[0]!)
    await rm(await bench.blobs.localFile(layer))
    await rm(await bench.blobs.localFile(index))
    await expect(bench.publish(draft)).resolves.toMatchObject({ outcome: 'unchanged', mended: 2, newVersions: [] })
    expect([await bench.blobs.condition(layer), await bench.blobs.condition(index)]).toEqual(['sound', 'sound'])
    await expect(bench.publish(draft)).resolves.toMatchObject({ outcome: 'unchanged', mended: 0 })
  })

  it('records facts by design and the act', async () => {
    await bench.publish(await plainDraft())
    const { report, bytes } = await bench.database.catalogue
      .selectFrom('packages')
      .selectAll()
      .executeTakeFirstOrThrow()
    const [lime] = JSON.parse(report).designs
    // 120 × 100 px of gray 200 at 60 µm and 0.01 mm²: 12,000 × 200/255 × 60 × 0.01 × 1e-6 mL.
    expect(lime.varnishMl).toBeCloseTo(0.005_647_058_8, 9)
    expect(lime.layers).toMatchObject([
      { layer: 'relief', widthPx: 200, heightPx: 120, coveragePercent: 50 },
      { layer: 'gold' },
    ])
    // 100 pixels of 100 µm, to four pixels.
    expect(Math.abs(lime.layers[0].lineUmMin - 10_000)).toBeLessThanOrEqual(400)
    expect(bytes).toBeGreaterThan(1_000)
    expect(await bench.database.catalogue.selectFrom('acts').selectAll().execute()).toMatchObject([
      { act: 'publish', by: 'tester', job: 'J7', package: 1 },
    ])
  })

  it('of one job goes one after the other: of two at once, one is published and the other is seen as the same', async () => {
    const path = await sourceOf(await plainDraft())
    const both = await Promise.all([1, 2].map(() => bench.packages.publish({ path, by: 'Ann' })))
    expect(both.map(({ outcome }) => outcome).sort()).toEqual(['published', 'unchanged'])
    const rivals = await Promise.all(
      [2, 2].map(async (number, i) => {
        const draft = await plainDraft()
        Object.assign(draft.manifest, { package: number, title: `rival ${i}` })
        return sourceOf(draft)
      }),
    )
    const results = await Promise.allSettled(rivals.map((rival) => bench.packages.publish({ path: rival, by: 'Ann' })))
    expect(results.map(({ status }) => status).sort()).toEqual(['fulfilled', 'rejected'])
  })

  it('is refused by the transaction itself when another process came first', async () => {
    const rival = openPackages({ ...bench.deps })
    const draft = await plainDraft()
    const other = await plainDraft()
    other.manifest.title = 'From elsewhere'
    const [path, otherPath] = [await sourceOf(draft), await sourceOf(other)]
    const threads: PackageThreads = {
      async run(task) {
        const result = await inlineThreads.run(task)
        if ((task as PackageTask).task === 'layers') await rival.publish({ path: otherPath, by: 'Bob' })
        return result
      },
    }
    const packages = openPackages({ ...bench.deps, threads })
    expect(await problemOf(packages.publish({ path, by: 'Ann' }))).toMatchObject({
      code: 'package-refused',
      findings: [{ code: 'package-number-not-higher' }],
    })
    expect((await bench.left()).packages).toBe(1)
  })

  it('stops when it is told to, and leaves nothing', async () => {
    const stop = new AbortController()
    const path = await sourceOf(await plainDraft())
    const work = bench.packages.publish({
      path,
      by: 'Ann',
      signal: stop.signal,
      progress: (_, note) => note === 'storing the layers' || stop.abort(new Error('enough')),
    })
    await expect(work).rejects.toThrow('enough')
    expect(await bench.left()).toEqual({ staged: 0, blobs: 0, packages: 0 })
  })
})

describe('checking', () => {
  it('says what a sound package would bring, and publishes nothing', async () => {
    const path = await sourceOf(await plainDraft())
    const report = await bench.packages.check({ path })
    expect(report).toMatchObject({ findings: [], job: 'J7', package: 1, files: 5, unchanged: false })
    expect(report.facts.map(({ design }) => design)).toEqual(['LIME', 'PLUM'])
    expect(await bench.left()).toEqual({ staged: 0, blobs: 0, packages: 0 })
  })

  it('gives the findings of a bad one instead of throwing', async () => {
    const draft = await plainDraft()
    draft.files.set('extra.txt', Buffer.from('x'))
    draft.manifest.frame.pitchMm = 10
    const report = await bench.packages.check({ path: await sourceOf(draft) })
    expect(report.findings.map(({ code }) => code)).toContain('file-extra')
    expect(report.findings.map(({ code }) => code)).toContain('cell-off-web')
  })

  it('lists ten thousand findings at most and counts the rest', async () => {
    const draft = await plainDraft()
    const [first] = draft.manifest.designs
    draft.manifest.designs = Array.from({ length: 6_000 }, (_, i) => ({
      ...first!,
      design: `D${i}`,
      layers: first!.layers.map((layer) => ({ ...layer, file: `absent/${layer.layer}-${i}.png` })),
    }))
    draft.files.clear()
    const report = await bench.packages.check({ path: await sourceOf(draft) })
    expect([report.findings.length, report.findingsMore]).toEqual([10_000, 2_000])
  })
})
