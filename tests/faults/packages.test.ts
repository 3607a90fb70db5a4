// Bad packages: each gets its exact findings, with the place, and leaves nothing behind.
import { execFileSync } from 'node:child_process'
import { chmod, mkdir, rename, symlink, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Problem, type ProblemCode } from '../../src/kernel/problem.ts'
import { inlineThreads } from '../../src/packages/index.ts'
import { intakeLimits } from '../../src/packages/staging.ts'
import {
  bareGrayPng,
  codesOf,
  type Draft,
  draftFiles,
  grayBytes,
  grayImage,
  labelPx,
  openPackageBench,
  type PackageBench,
  plainDraft,
  problemOf,
  relief,
  writeDraft,
  writeFiles,
} from '../fixtures/packages.ts'
import { zipOf, zipOfFiles, zipStating } from '../fixtures/zips.ts'

let bench: PackageBench
beforeEach(async () => {
  bench = await openPackageBench()
})
afterEach(() => bench.close())

const nothing = { staged: 0, blobs: 0, packages: 0 }

async function refusalOf(path: string): Promise<Problem> {
  const before = await bench.left()
  const problem = await problemOf(bench.packages.publish({ path, by: 'tester' }))
  expect(await bench.left()).toEqual(before)
  return problem
}

async function refused(draft: Draft): Promise<Problem> {
  const path = await bench.source()
  await writeDraft(path, draft)
  return refusalOf(path)
}

async function refusedFiles(files: ReadonlyMap<string, Uint8Array>): Promise<Problem> {
  const path = await bench.source()
  await writeFiles(path, files)
  return refusalOf(path)
}

async function refusedZip(bytes: Uint8Array): Promise<Problem> {
  const path = join(await bench.source(), 'package.zip')
  await writeFile(path, bytes)
  return refusalOf(path)
}

type Change = (draft: Draft) => unknown
const changed = async (change: Change): Promise<Problem> => {
  const draft = await plainDraft()
  await change(draft)
  return refused(draft)
}

/** Puts a file in place of LIME's relief. */
const withRelief = (bytes: Uint8Array): Promise<Problem> => changed(({ files }) => files.set('LIME/relief.png', bytes))

const lime = '/designs/0/layers/0'

describe('a manifest', () => {
  it('that is not JSON is refused', async () => {
    const problem = await refusedFiles(new Map([['job.json', Buffer.from('{"job":')]]))
    expect(problem.code).toBe('package-refused')
    expect(problem.findings).toMatchObject([{ code: 'manifest-not-json', file: 'job.json' }])
    expect(await bench.left()).toEqual(nothing)
  })

  it('that is missing is refused', async () => {
    expect((await refusedFiles(new Map([['readme.txt', Buffer.from('x')]]))).findings).toMatchObject([
      { code: 'manifest-missing', file: 'job.json' },
    ])
  })

  it('that is not UTF-8 is refused', async () => {
    const problem = await refusedFiles(new Map([['job.json', Uint8Array.of(0x7b, 0xff, 0x7d)]]))
    expect(codesOf(problem.findings)).toEqual(['manifest-not-json'])
  })

  it('with wrong types is refused at each pointer, with what was found and what is allowed', async () => {
    const { findings } = await changed(({ manifest }) => {
      Object.assign(manifest, { package: 'three' })
      Object.assign(manifest.frame, { pitchMm: -4 })
      Object.assign(manifest.designs[0]!.layers[0]!, { station: 'stamp' })
    })
    expect(findings).toMatchObject([
      { code: 'manifest-schema', pointer: '/package', measured: 'three' },
      { code: 'manifest-schema', pointer: '/frame/pitchMm', measured: -4, limit: 0 },
      { code: 'manifest-schema', pointer: `${lime}/station`, measured: 'stamp', limit: 'flexo, inkjet, foil' },
    ])
  })

  it('with unknown fields is refused at each of them, and everything else is still checked', async () => {
    const { findings } = await changed(({ manifest, files }) => {
      Object.assign(manifest, { note: 'x' })
      Object.assign(manifest.frame.cells[1]!, { 'left/mm': 1 })
      files.delete('PLUM/gold.png')
    })
    expect(findings).toMatchObject([
      { code: 'manifest-unknown-field', pointer: '/frame/cells/1/left~1mm' },
      { code: 'manifest-unknown-field', pointer: '/note' },
      { code: 'file-missing', file: 'PLUM/gold.png', pointer: '/designs/1/layers/1/file' },
    ])
  })

  it('that gives a field twice is refused', async () => {
    const files = draftFiles(await plainDraft())
    const text = Buffer.from(files.get('job.json')!).toString()
    files.set('job.json', Buffer.from(text.replace('"pitchMm":30', '"pitchMm":31,"pitchMm":30')))
    expect((await refusedFiles(files)).findings).toMatchObject([
      { code: 'manifest-duplicate', file: 'job.json', pointer: '/frame/pitchMm' },
    ])
  })

  it('that is nested deeply is refused without being parsed', async () => {
    const deep = `${'['.repeat(200_000)}${']'.repeat(200_000)}`
    const problem = await refusedFiles(new Map([['job.json', Buffer.from(deep)]]))
    expect(problem.findings).toMatchObject([{ code: 'body-too-deep', file: 'job.json', limit: 32 }])
  })

  it('with duplicate designs, cells, lanes and rows, layers and orders is refused at each', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.designs[1]!.design = 'LIME'
      manifest.frame.cells[1]!.cell = 1
      manifest.frame.cells[1]!.lane = 1
      manifest.designs[0]!.layers[1]!.layer = 'relief'
      manifest.designs[0]!.layers[1]!.order = 2
      manifest.designs[0]!.printVersions.push('02')
    })
    expect(findings.map(({ code, pointer }) => [code, pointer])).toEqual([
      ['manifest-duplicate', '/frame/cells/1'],
      ['manifest-duplicate', '/frame/cells/1'],
      ['manifest-duplicate', '/designs/1'],
      ['manifest-duplicate', '/designs/0/printVersions/2'],
      ['manifest-duplicate', '/designs/0/layers/1'],
      ['manifest-duplicate', '/designs/0/layers/1'],
    ])
  })

  it('with a layer that is neither height nor foil, both, or foil at another station is refused at each', async () => {
    const { findings } = await changed(({ manifest }) => {
      const [one, two] = manifest.designs
      delete one!.layers[0]!.heightUm
      two!.layers[1]!.heightUm = 20
      one!.layers[1]!.station = 'flexo'
    })
    expect(findings.map(({ code, pointer }) => [code, pointer])).toEqual([
      ['manifest-schema', '/designs/0/layers/0'],
      ['manifest-schema', '/designs/0/layers/1/station'],
      ['manifest-schema', '/designs/1/layers/1'],
    ])
  })
})

describe('the frame', () => {
  it('with cells off the web is refused with the overhang', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.frame.cells[1]!.leftMm = 31.5
      manifest.frame.cells[0]!.topMm = 20.25
      manifest.frame.codeAt.leftMm = 14
    })
    expect(findings.filter(({ code }) => code === 'cell-off-web')).toMatchObject([
      { code: 'cell-off-web', pointer: '/frame/cells/0', measured: 2.25, limit: 0 },
      { code: 'cell-off-web', pointer: '/frame/cells/1', measured: 1.5, limit: 0 },
    ])
  })

  it('with overlapping cells is refused with the size of the overlap', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.frame.cells[1]!.leftMm = 21
    })
    expect(findings).toMatchObject([{ code: 'cell-overlap', pointer: '/frame/cells/1', measured: '1 × 12 mm' }])
  })

  it('with a code off the frame is refused for each cell that has it there', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.frame.codeAt.leftMm = 21
    })
    const off = findings.filter(({ code }) => code === 'code-off-frame')
    expect(off).toMatchObject([{ pointer: '/frame/codeAt', measured: 1 }])
    expect(off[0]!.message).toContain('cell 2')
  })
})

describe('the matching rule', () => {
  const ruled = (template: string) =>
    changed(({ manifest }) => {
      manifest.code = { rule: 'template', symbologies: ['qr'], template }
    })

  it('that can match two ways is refused', async () => {
    expect((await ruled('{design}{serial}')).findings).toMatchObject([
      { code: 'template-ambiguous', file: 'job.json', pointer: '/code/template' },
    ])
  })

  it('that cannot be read is refused', async () => {
    expect((await ruled('{job}-{design')).findings).toMatchObject([
      { code: 'template-syntax', pointer: '/code/template' },
    ])
  })

  it('that names no design is refused', async () => {
    expect((await ruled('{job}/{serial:6d}')).findings).toMatchObject([
      { code: 'template-field', pointer: '/code/template' },
    ])
  })

  it('that can name neither a design nor a print version is refused at both', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.code = { rule: 'template', symbologies: ['qr'], template: '{job}-{design:4}.{print:2}/{serial:6d}' }
      manifest.designs[0]!.printVersions = ['01', '002']
      manifest.designs[1]!.design = 'PLUMS'
    })
    expect(findings).toMatchObject([
      { code: 'print-version-unmatchable', pointer: '/designs/0/printVersions/1', measured: '002' },
      { code: 'design-unmatchable', pointer: '/designs/1/design', measured: 'PLUMS' },
    ])
  })

  it('of a kind that is not built is refused as such, and the code table is no extra file', async () => {
    const { findings } = await changed(({ manifest, files }) => {
      manifest.code = { rule: 'table', symbologies: ['qr'], file: 'codes.csv' }
      files.set('codes.csv', Buffer.from('code,design\n'))
    })
    expect(findings).toMatchObject([{ code: 'rule-not-supported', pointer: '/code/rule' }])
  })
})

describe('files', () => {
  it('missing, extra and with another digest are refused together', async () => {
    const draft = await plainDraft()
    const files = draftFiles(draft)
    files.delete('LIME/relief.png')
    files.set('notes.txt', Buffer.from('hello'))
    files.set('PLUM/gold.png', Buffer.concat([files.get('PLUM/gold.png')!, Buffer.from([0])]))
    const { findings } = await refusedFiles(files)
    expect(findings).toMatchObject([
      { code: 'file-extra', file: 'notes.txt' },
      { code: 'file-missing', file: 'LIME/relief.png', pointer: `${lime}/file` },
      { code: 'file-digest', file: 'PLUM/gold.png', pointer: '/designs/1/layers/1/sha256' },
    ])
    expect(findings[2]!.measured).toMatch(/^[0-9a-f]{64}$/)
  })

  it('that are symbolic links, pipes or links to folders are refused', async () => {
    const path = await bench.source()
    await writeDraft(path, await plainDraft())
    await rename(join(path, 'LIME/gold.png'), join(path, '..', 'outside.png'))
    await symlink(join(path, '..', 'outside.png'), join(path, 'LIME/gold.png'))
    await symlink('/etc', join(path, 'etc'))
    execFileSync('mkfifo', [join(path, 'pipe')])
    const { findings } = await refusalOf(path)
    expect(findings).toMatchObject([
      { code: 'file-path', file: 'LIME/gold.png', message: 'LIME/gold.png is a symbolic link' },
      { code: 'file-path', file: 'etc', message: 'etc is a symbolic link' },
      { code: 'file-path', file: 'pipe', message: 'pipe is a device, pipe or socket' },
    ])
  })

  it('with backslashes, control characters or a drive letter in their names are refused, and clashes of case', async () => {
    const path = await bench.source()
    await writeDraft(path, await plainDraft())
    for (const name of ['a\\b', 'c:d', 'e\nf', 'g.', 'H', 'h']) await writeFile(join(path, name), 'x')
    const { findings } = await refusalOf(path)
    expect(findings.filter(({ code }) => code === 'file-path').map(({ file }) => file)).toEqual([
      'a\\\\b',
      'c:d',
      'e\\nf',
      'g.',
      'h',
    ])
    expect(codesOf(findings).filter((code) => code !== 'file-path')).toEqual(['file-extra'])
  })

  it('that the manifest names absolutely or through .. are refused, and nothing outside is looked at', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.designs[0]!.layers[0]!.file = '/etc/passwd'
      manifest.designs[1]!.layers[0]!.file = '../LIME/relief.png'
    })
    expect(findings.map(({ code, pointer }) => [code, pointer])).toEqual([
      ['file-path', `${lime}/file`],
      ['file-path', '/designs/1/layers/0/file'],
      ['file-extra', undefined],
      ['file-extra', undefined],
    ])
  })

  it('too many, or too large together, are refused', async () => {
    await bench.close()
    bench = await openPackageBench({ held: { ...intakeLimits, filesMax: 5 } })
    expect(await changed(() => undefined)).toMatchObject({
      code: 'package-too-large',
      place: { measured: 6, limit: 5 },
    })
    await bench.close()
    bench = await openPackageBench({ held: { ...intakeLimits, bytesMax: 1_000 } })
    expect(await changed(() => undefined)).toMatchObject({ code: 'package-too-large', place: { limit: 1_000 } })
  })

  it('that change while they are read are refused as such', async () => {
    const path = await bench.source()
    await writeDraft(path, await plainDraft())
    // The walk reads the limit at every entry, so the limit can stand in for somebody who goes on writing.
    const { appendFileSync } = await import('node:fs')
    const { takeInFolder } = await import('../../src/packages/folder-intake.ts')
    const held = {
      zipRatioMax: 1_000,
      bytesMax: Number.MAX_SAFE_INTEGER,
      get filesMax() {
        appendFileSync(join(path, 'LIME/gold.png'), 'x')
        return 1_000
      },
    }
    expect(() => takeInFolder(path, join(bench.spool, 'one'), held)).toThrow(
      expect.objectContaining({ code: 'file-changed', place: { file: expect.stringContaining('LIME/gold.png') } }),
    )
  })
})

describe('pictures', () => {
  it.each<[string, ProblemCode, () => Promise<Uint8Array>]>([
    ['a JPEG renamed', 'image-format', () => grayImage(labelPx, relief(9)).jpeg().toBuffer()],
    ['a WebP renamed', 'image-format', () => grayImage(labelPx, relief(9)).webp({ lossless: true }).toBuffer()],
    ['an empty file', 'image-format', async () => Buffer.alloc(0)],
    ['a colour PNG', 'image-colour', () => grayImage(labelPx, relief(9)).toColourspace('srgb').png().toBuffer()],
    [
      'a colour TIFF',
      'image-colour',
      () => grayImage(labelPx, relief(9)).toColourspace('srgb').tiff({ compression: 'lzw' }).toBuffer(),
    ],
    ['a palette PNG', 'image-colour', () => grayImage(labelPx, relief(9)).png({ palette: true }).toBuffer()],
    [
      'a PNG with alpha',
      'image-colour',
      () => grayImage(labelPx, relief(9)).ensureAlpha().toColourspace('b-w').png().toBuffer(),
    ],
    [
      'a gray PNG with one gray transparent',
      'image-colour',
      () => bareGrayPng({ ...labelPx, bits: 8 }, grayBytes(labelPx, relief(9)), [['tRNS', Uint8Array.of(0, 0)]]),
    ],
    ['a TIFF in JPEG', 'image-lossy', () => grayImage(labelPx, relief(9)).tiff({ compression: 'jpeg' }).toBuffer()],
    [
      'an animated PNG',
      'image-pages',
      () => bareGrayPng({ ...labelPx, bits: 8 }, grayBytes(labelPx, relief(9)), [['acTL', Buffer.alloc(8)]]),
    ],
    ['a height layer of 1 bit', 'image-depth', () => bareGrayPng({ ...labelPx, bits: 1 }, Buffer.alloc(25 * 120))],
    ['a height layer of 4 bits', 'image-depth', () => bareGrayPng({ ...labelPx, bits: 4 }, Buffer.alloc(100 * 120))],
  ])('%s is refused with %s', async (_, code, make) => {
    const { findings } = await withRelief(await make())
    expect(findings).toMatchObject([{ code, file: 'LIME/relief.png', pointer: lime }])
  })

  it('claiming 60,000 × 60,000 pixels is refused by its header', async () => {
    const bytes = await bareGrayPng({ width: 60_000, height: 60_000, bits: 8 }, Buffer.alloc(0))
    const started = performance.now()
    const { findings } = await withRelief(bytes)
    expect(codesOf(findings)).toEqual(['image-size', 'image-too-large'])
    expect(findings[1]).toMatchObject({ file: 'LIME/relief.png', measured: '60000 × 60000 px', limit: '268435456 px' })
    expect(performance.now() - started).toBeLessThan(2_000)
  })

  it.each([
    ['PNG', 'png' as const],
    ['TIFF', 'tiff' as const],
  ])('cut off anywhere, a %s is refused', async (_, format) => {
    const whole = await grayImage(labelPx, (x, y) => (relief(1)(x, y) ? (x * y) % 256 : 0))
      [format](format === 'tiff' ? { compression: 'deflate' } : {})
      .toBuffer()
    for (const share of [0.1, 0.5, 0.9]) {
      const { findings } = await withRelief(whole.subarray(0, Math.floor(whole.length * share)))
      expect(findings).toMatchObject([{ code: 'image-unreadable', file: 'LIME/relief.png', pointer: lime }])
    }
    const { findings } = await withRelief(whole.subarray(0, whole.length - 1))
    expect(codesOf(findings)).toEqual(['image-unreadable'])
  })

  it('damaged inside is refused', async () => {
    const bytes = await grayImage(labelPx, (x, y) => (relief(1)(x, y) ? (x * y) % 256 : 0))
      .png()
      .toBuffer()
    bytes[Math.floor(bytes.length / 2)]! ^= 0xff
    expect(codesOf((await withRelief(bytes)).findings)).toEqual(['image-unreadable'])
  })

  it('one pixel off their size are refused with both sizes; half a pixel is let be', async () => {
    const { findings } = await withRelief(await grayImage({ width: 201, height: 120 }, relief(9)).png().toBuffer())
    expect(findings).toMatchObject([
      { code: 'image-size', pointer: lime, measured: '201 × 120 px', limit: '200.0 × 120.0 px, ± 0.5' },
    ])
    const draft = await plainDraft()
    draft.manifest.designs[0]!.layers[0]!.placement.widthMm = 20.05
    await expect(bench.publish(draft)).resolves.toMatchObject({ outcome: 'published' })
  })

  it('that reach beyond cell and bleed, or beyond the frame, are refused with the overhang', async () => {
    const { findings } = await changed(({ manifest }) => {
      manifest.designs[0]!.layers[0]!.placement.leftMm = 1.5
      manifest.designs[1]!.layers[0]!.placement.leftMm = 1
      Object.assign(manifest.designs[1]!.layers[1]!, { scope: 'frame' })
      manifest.designs[1]!.layers[1]!.placement.topMm = 20
    })
    expect(findings.filter(({ code }) => code === 'layer-out-of-place')).toMatchObject([
      { pointer: `${lime}/placement`, measured: 0.5 },
      { pointer: '/designs/1/layers/1/placement', measured: 2 },
    ])
  })

  it('that lie over a code or its quiet zone are refused with the count of pixels', async () => {
    // The zone is 14.5 to 19.5 mm across and 0.5 to 5.5 mm along: pixels 145 to 194 and 5 to 54.
    const { findings } = await withRelief(
      await grayImage(labelPx, (x, y) => (x === 145 && y < 120 ? 1 : 0))
        .png()
        .toBuffer(),
    )
    expect(findings).toMatchObject([
      { code: 'art-over-code', file: 'LIME/relief.png', pointer: lime, measured: '50 px' },
    ])
    const beside = await plainDraft()
    beside.files.set(
      'LIME/relief.png',
      await grayImage(labelPx, (x, y) => (x === 144 && y < 120 ? 1 : 0))
        .png()
        .toBuffer(),
    )
    await expect(bench.publish(beside)).resolves.toMatchObject({ outcome: 'published' })
  })

  it('with a flood over everything pass as common varnish, and are refused as common foil', async () => {
    const flood = await grayImage({ width: 500, height: 300 }, () => 255)
      .png()
      .toBuffer()
    const common = (manifest: Draft['manifest'], at: number) =>
      Object.assign(manifest.designs[0]!.layers[at]!, {
        scope: 'common',
        placement: { leftMm: 0, topMm: 0, widthMm: 50, heightMm: 30 },
      })
    const varnish = await plainDraft()
    common(varnish.manifest, 0)
    varnish.files.set('LIME/relief.png', flood)
    await expect(bench.publish(varnish)).resolves.toMatchObject({ outcome: 'published' })
    const { findings } = await changed(({ manifest, files }) => {
      manifest.package = 2
      manifest.designs[0]!.version = 2
      common(manifest, 1)
      files.set('LIME/gold.png', flood)
    })
    expect(codesOf(findings)).toEqual(['art-over-code', 'art-over-code', 'art-over-eye-mark'])
  })

  it('that lie over the eye mark of the frame before are refused', async () => {
    const corner = await grayImage({ width: 210, height: 130 }, (x, y) => (x < 20 && y < 20 ? 1 : 0))
      .png()
      .toBuffer()
    const { findings } = await changed(({ manifest, files }) => {
      Object.assign(manifest.frame, { eyeMark: { leftMm: 1, topMm: 29, widthMm: 2, heightMm: 1 } })
      manifest.frame.cells[0]!.topMm = 0
      manifest.designs[0]!.layers[0]!.placement = { leftMm: -1, topMm: -1, widthMm: 21, heightMm: 13 }
      files.set('LIME/relief.png', corner)
    })
    // The layer's corner lies at (1, −1) mm, which is (1, 29) mm of the frame before.
    expect(findings).toMatchObject([{ code: 'art-over-eye-mark', pointer: lime, measured: '200 px' }])
  })

  it('as foil masks hold only nothing and all', async () => {
    const { findings } = await changed(async ({ files }) => {
      files.set('LIME/gold.png', await grayImage(labelPx, relief(128)).png().toBuffer())
      files.set(
        'PLUM/gold.png',
        await grayImage(labelPx, relief(255)).tiff({ bitdepth: 1, compression: 'ccittfax4' }).toBuffer(),
      )
    })
    expect(findings).toMatchObject([
      { code: 'image-depth', file: 'LIME/gold.png', pointer: '/designs/0/layers/1', measured: 128, limit: '0 or 255' },
    ])
  })
})

describe('numbers', () => {
  it('of packages must rise', async () => {
    const first = await plainDraft()
    first.manifest.package = 5
    await bench.publish(first)
    const { findings } = await changed(({ manifest }) => {
      manifest.package = 5
      manifest.title = 'Another'
    })
    expect(findings).toMatchObject([{ code: 'package-number-not-higher', pointer: '/package', measured: 5, limit: 5 }])
  })

  it('of versions stand for one content for ever', async () => {
    await bench.publish(await plainDraft())
    const { findings } = await changed(async ({ manifest, files }) => {
      manifest.package = 2
      files.set('PLUM/relief.png', await grayImage(labelPx, relief(7)).png().toBuffer())
    })
    expect(findings).toMatchObject([{ code: 'version-reused', pointer: '/designs/1/version' }])
  })

  it('of the same package twice are a no-op that says so', async () => {
    const draft = await plainDraft()
    await expect(bench.publish(draft)).resolves.toMatchObject({ outcome: 'published', job: 'J7', package: 1 })
    const before = await bench.left()
    const revision = bench.catalogue.current().revision
    await expect(bench.publish(draft)).resolves.toMatchObject({ outcome: 'unchanged', newVersions: [] })
    expect(await bench.left()).toEqual(before)
    expect(bench.catalogue.current().revision).toBe(revision)
  })
})

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
