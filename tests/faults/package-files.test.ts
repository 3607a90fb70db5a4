// Bad files and pictures in a package: each gets its exact findings, with the place, and leaves nothing behind.
import { execFileSync } from 'node:child_process'
import { rename, symlink, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { ProblemCode } from '../../src/kernel/problem.ts'
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
  relief,
  writeDraft,
} from '../fixtures/packages.ts'
import { refusing } from '../fixtures/refusals.ts'

let bench: PackageBench
beforeEach(async () => {
  bench = await openPackageBench()
})
afterEach(() => bench.close())

const { changed, refusalOf, refusedFiles, withRelief } = refusing(() => bench)
const lime = '/designs/0/layers/0'

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
      ['file-extra', undefined],
      ['file-extra', undefined],
      ['file-path', `${lime}/file`],
      ['file-path', '/designs/1/layers/0/file'],
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
