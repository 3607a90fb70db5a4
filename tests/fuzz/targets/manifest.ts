// job.json: the demo's sound manifests changed at random, and documents that are none.
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { demoFolder } from '../../../demo-jobs/folders.ts'
import { codePlaces } from '../../../src/codes/code-places.ts'
import { sha256Hex } from '../../../src/kernel/bytes.ts'
import { limits } from '../../../src/kernel/limits.ts'
import { frameIndex } from '../../../src/kernel/terms.ts'
import { orientationOf } from '../../../src/lines/index.ts'
import { compileRule, type Manifest } from '../../../src/packages/index.ts'
import { readListedFiles } from '../../../src/packages/listed-files.ts'
import { checkManifest } from '../../../src/packages/manifest-check.ts'
import type { StagedPackage } from '../../../src/packages/staging.ts'
import { cellsOfRun } from '../../../src/runs/geometry.ts'
import { toUm } from '../../../src/runs/index.ts'
import { openCountingTracker } from '../../../src/tracking/index.ts'
import { plainManifest } from '../../fixtures/packages.ts'
import { line, ticket } from '../../fixtures/runs.ts'
import { jsonCases, spellJson } from '../arbitraries/json-edits.ts'
import { codeOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const words = [
  'rollcall.job/1',
  'cell',
  'lane',
  'frame',
  'common',
  'foil',
  'inkjet',
  'flexo',
  'template',
  'gs1',
  'table',
  'qr',
  'ean-upc',
  '01',
  '21',
  'codes.csv',
  'job.json',
  '{job}/{design}/{serial}',
  '{design}{serial}',
  'x'.repeat(512),
  'f'.repeat(64),
  90,
  270,
  256,
  257,
  25_400,
]

const codesOfView = { pxPerMm: 20, leftMm: 0, topMm: 0 }

// What a run, a reader of pictures and a matcher make of a manifest that was found sound.
function useManifest({ frame, code, job, designs }: Manifest): void {
  const pitchUm = toUm(frame.pitchMm)
  const tracker = openCountingTracker(pitchUm)
  tracker.advance({ frame: frameIndex(0), positionUm: 0 })
  holds(tracker.locate(pitchUm).place === 1, 'the next frame is at the next place')
  const turns = new Set<number>()
  for (const leadEdge of ['top', 'right', 'bottom', 'left'] as const) {
    const orientation = orientationOf({ frame, ticket: ticket({ leadEdge }), line })
    if (orientation.kind === 'impossible') continue
    turns.add(orientation.frameTurnDeg)
    for (const { noReturnAfterUm } of cellsOfRun(frame, ticket({ leadEdge }), line))
      holds(Number.isSafeInteger(noReturnAfterUm), 'a point of no return is in µm')
    codePlaces({ frame, camera: codesOfView, turned: orientation.frameTurnDeg === 180 })
  }
  holds(turns.size === 2, 'a frame runs either end first')
  if (code.rule === 'table') return
  const rule = compileRule(code, { job, designs: designs.map(({ design }) => design) })
  for (const text of ['', 'x', '01095060001343521021']) rule.match(text, ']Q1', 1)
}

/** Of the demo. Each is read as it lies in the tree. */
const packages = [
  'quillgarth-preserves/package-1',
  'quillgarth-preserves/package-2',
  'quillgarth-preserves/package-3',
  'pimmerby-teas/package-1',
]

async function soundManifests(): Promise<readonly unknown[]> {
  const texts = await Promise.all(packages.map((name) => readFile(join(demoFolder, name, 'job.json'), 'utf8')))
  const gs1 = { ...plainManifest(), code: { rule: 'gs1', symbologies: ['qr'], design: '01', serial: '21' } }
  const table = {
    ...plainManifest(),
    code: { rule: 'table', symbologies: ['data-matrix'], file: 'codes.csv', sha256: '0'.repeat(64) },
  }
  return [plainManifest(), gs1, table, ...texts.map((text) => JSON.parse(text) as unknown)]
}

export const manifestTarget = defineTarget({
  name: 'manifest',
  module: import.meta.url,
  about: 'job.json: every finding has a code and a place; without a finding there is a whole manifest with a digest',
  bounds: { caseCpuMsMax: 2_000, growthMiBMax: 384 },
  cases: { short: 300, long: 3_000 },
  arbitrary: jsonCases(words),
  meets: [
    'taken',
    'manifest-schema',
    'manifest-unknown-field',
    'manifest-not-json',
    'manifest-duplicate',
    'body-too-deep',
  ],
  async open() {
    const documents = await soundManifests()
    const folder = await mkdtemp(join(tmpdir(), 'manifest-'))
    const stored = join(folder, 'job')
    return {
      async run(one) {
        const bytes = spellJson(one, documents)
        await writeFile(stored, bytes)
        const job = { path: 'job.json', stored, bytes: bytes.length, digest: sha256Hex(bytes) }
        const staged: StagedPackage = { folder, files: [job], bytes: bytes.length, findings: [] }
        const { findings, manifest, digest, versions } = checkManifest(staged)
        for (const finding of findings.slice(0, limits.findingsMax)) {
          holds((finding.pointer ?? finding.file) !== undefined, `${finding.code} has no place`)
        }
        const own = findings.filter(({ code }) => code !== 'file-missing')
        if (own.length === 0) holds(manifest && digest && versions.length === manifest.designs.length, 'it is whole')
        if (own.length === 0 && manifest) useManifest(manifest)
        const listed = readListedFiles(stored)
        if (manifest) holds(listed !== undefined, 'a manifest that fits its schema lists files')
        return codeOf(own.slice(0, limits.findingsMax))
      },
      close: () => rm(folder, { recursive: true }),
    }
  },
})
