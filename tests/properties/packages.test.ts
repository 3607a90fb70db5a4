// Whatever is done to a manifest, the check answers with findings: it never throws, and each finding says where.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import { problemTable } from '../../src/kernel/problem.ts'
import { checkLayerFile } from '../../src/packages/layer-check.ts'
import { checkManifest } from '../../src/packages/manifest-check.ts'
import type { StagedFile, StagedPackage } from '../../src/packages/staging.ts'
import { type Draft, plainDraft, stateDigests } from '../fixtures/packages.ts'

let folder: string
let draft: Draft
let layers: StagedFile[]

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-property-'))
  draft = await plainDraft()
  stateDigests(draft)
  layers = []
  for (const [path, bytes] of draft.files) {
    const stored = join(folder, String(layers.length))
    await writeFile(stored, bytes)
    layers.push({ path, stored, bytes: bytes.length, digest: sha256Hex(bytes) })
  }
})
afterAll(() => rm(folder, { recursive: true }))

async function stage(manifest: string): Promise<StagedPackage> {
  const stored = join(folder, 'job')
  await writeFile(stored, manifest)
  const job = { path: 'job.json', stored, bytes: manifest.length, digest: sha256Hex(manifest) }
  return { folder, files: [job, ...layers], bytes: 0, findings: [] }
}

interface Mutation {
  readonly steps: readonly number[]
  readonly what: 'replace' | 'delete' | 'add' | 'repeat'
  readonly value: unknown
}

type Holder = Record<string, unknown>

// Walks down the value by the steps, each picking one of the children, and changes what it comes to.
function mutate(root: unknown, { steps, what, value }: Mutation): void {
  let holder = root as Holder
  let key = ''
  for (const step of steps) {
    const next = key === '' ? holder : holder[key]
    if (typeof next !== 'object' || next === null) break
    const keys = Object.keys(next)
    if (keys.length === 0) break
    holder = next as Holder
    key = keys[step % keys.length]!
  }
  if (key === '') return
  if (what === 'delete') delete holder[key]
  else if (what === 'add') holder[`${key}x`] = value
  else if (what === 'repeat' && Array.isArray(holder)) holder.push(structuredClone(holder[Number(key)]))
  else holder[key] = value
}

const near = fc.oneof(
  fc.constantFrom<unknown>(
    0,
    -1,
    1e9,
    1e-9,
    90,
    'cell',
    'frame',
    'common',
    'foil',
    'inkjet',
    'LIME',
    '{design}{serial}',
    '{',
    '',
    [],
    {},
    null,
  ),
  fc.double({ noNaN: true, noDefaultInfinity: true, min: -200, max: 200 }),
  fc.jsonValue(),
)
const mutations = fc.array(
  fc.record({
    steps: fc.array(fc.nat(7), { minLength: 1, maxLength: 7 }),
    what: fc.constantFrom<Mutation['what']>('replace', 'delete', 'add', 'repeat'),
    value: near,
  }),
  { minLength: 1, maxLength: 4 },
)

async function expectFindings(staged: StagedPackage): Promise<void> {
  const report = checkManifest(staged)
  const pictures = await Promise.all(report.layerFiles.map(checkLayerFile))
  for (const finding of [...report.findings, ...pictures.flatMap(({ findings }) => findings)]) {
    expect(problemTable).toHaveProperty(finding.code)
    expect(finding.message).not.toBe('')
    expect(finding.pointer ?? finding.file).toEqual(expect.any(String))
  }
  if (report.findings.length === 0) expect(report.manifest).toBeDefined()
}

describe('a manifest changed at random', () => {
  it('gives findings and never an error', async () => {
    await fc.assert(
      fc.asyncProperty(mutations, async (changes) => {
        const manifest = structuredClone(draft.manifest)
        for (const change of changes) mutate(manifest, change)
        await expectFindings(await stage(JSON.stringify(manifest)))
      }),
      { numRuns: 300 },
    )
  })

  it('in its bytes gives findings and never an error', async () => {
    const bytes = Buffer.from(JSON.stringify(draft.manifest))
    const edits = fc.array(fc.tuple(fc.nat(bytes.length - 1), fc.nat(255)), { minLength: 1, maxLength: 5 })
    await fc.assert(
      fc.asyncProperty(edits, async (list) => {
        const changed = Buffer.from(bytes)
        for (const [at, value] of list) changed[at] = value
        await expectFindings(await stage(changed.toString('latin1')))
      }),
      { numRuns: 200 },
    )
  })
})

describe('a layer file changed at random', () => {
  it('gives findings and never an error', async () => {
    const { layerFiles } = checkManifest(await stage(JSON.stringify(draft.manifest)))
    const [first] = layerFiles
    const bytes = draft.files.get(first!.file)!
    const edits = fc.array(fc.tuple(fc.nat(bytes.length - 1), fc.nat(255)), { minLength: 1, maxLength: 4 })
    await fc.assert(
      fc.asyncProperty(edits, fc.nat(bytes.length), async (list, length) => {
        const changed = Buffer.from(bytes)
        for (const [at, value] of list) changed[at] = value
        const stored = join(folder, 'changed')
        await writeFile(stored, changed.subarray(0, length))
        const { findings } = await checkLayerFile({ ...first!, stored })
        for (const finding of findings) expect(finding.pointer).toBe(first!.uses[0]!.pointer)
      }),
      { numRuns: 300 },
    )
  })
})
