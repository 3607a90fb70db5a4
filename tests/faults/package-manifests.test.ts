// Bad manifests: each gets its exact findings, with the place, and leaves nothing behind.
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import {
  codesOf,
  draftFiles,
  grayImage,
  labelPx,
  openPackageBench,
  type PackageBench,
  plainDraft,
  relief,
} from '../fixtures/packages.ts'
import { refusing } from '../fixtures/refusals.ts'

let bench: PackageBench
beforeEach(async () => {
  bench = await openPackageBench()
})
afterEach(() => bench.close())

const { changed, refusedFiles } = refusing(() => bench)
const nothing = { staged: 0, blobs: 0, packages: 0 }
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

  const withTable = (text: string) =>
    changed(({ manifest, files }) => {
      const csv = Buffer.from(text)
      manifest.code = { rule: 'table', symbologies: ['qr'], file: 'codes.csv', sha256: '0'.repeat(64) }
      files.set('codes.csv', csv)
    })

  it('of a table that names no row of a design is refused, for its labels could never be laid', async () => {
    const { findings } = await withTable('code,design,print\nX1,PLUM,01\n')
    expect(findings.map(({ code, measured }) => [code, measured])).toContainEqual(['design-unmatchable', 'LIME'])
  })

  it('of a table with broken rows is refused with every row', async () => {
    const { findings } = await withTable('code,design\nX1,PLUM\nX1,PLUM\n,PLUM\nX2,PLUM,3\n')
    expect(findings.filter(({ file }) => file === 'codes.csv').map(({ row }) => row)).toEqual(
      expect.arrayContaining([3, 4, 5]),
    )
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
