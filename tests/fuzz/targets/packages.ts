// Whole packages, folders and ZIPs, with a few things wrong in manifest, layers and code table, through publishing.
import { mkdir, rm, writeFile } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import fc from 'fast-check'
import { type Draft, draftFiles, filesBelow, openPackageBench, plainDraft } from '../../fixtures/packages.ts'
import { zipOfFiles } from '../../fixtures/zips.ts'
import { byteEdit, editBytes } from '../arbitraries/byte-edits.ts'
import { hostileText } from '../arbitraries/hostile-text.ts'
import { editValue, valueEdit } from '../arbitraries/json-edits.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const words = ['LIME', 'PLUM', 'J7', '01', '21', 'cell', 'frame', 'lane', 'qr', 'gold', 1, 2, 90, 0.0004, 1e-7, 30, 50]

const arbitrary = fc.record({
  base: fc.constantFrom('template', 'gs1', 'table'),
  values: fc.oneof(
    { weight: 2, arbitrary: fc.constant([]) },
    { weight: 3, arbitrary: fc.array(valueEdit(words), { minLength: 1, maxLength: 3 }) },
  ),
  files: fc.oneof(
    { weight: 3, arbitrary: fc.constant([]) },
    {
      weight: 2,
      arbitrary: fc.array(fc.record({ at: fc.nat(9), edits: fc.array(byteEdit, { maxLength: 3 }) }), { maxLength: 2 }),
    },
  ),
  /** Digests of what the files really are, so that their content is looked at. */
  restated: fc.oneof({ weight: 4, arbitrary: fc.constant(true) }, { weight: 1, arbitrary: fc.constant(false) }),
  extra: fc.oneof({ weight: 6, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: hostileText }),
  form: fc.constantFrom('folder', 'zip'),
  rows: fc.array(
    fc.constantFrom('Q/1,LIME,01,1', 'Q/2,PLUM,02,2', 'Q/1,LIME,01,1', 'Q/3,NONE,01,3', ',LIME,01,4', 'Q/4,"LIME,01,5'),
    { maxLength: 4 },
  ),
})
type PackageCase = typeof arbitrary extends fc.Arbitrary<infer T> ? T : never

const rules = {
  template: undefined,
  gs1: { rule: 'gs1', symbologies: ['qr'], design: '01', serial: '21' },
  table: { rule: 'table', symbologies: ['qr'], file: 'codes.csv', sha256: '0'.repeat(64) },
} as const

function draftOf(one: PackageCase, sound: Draft): Draft {
  const manifest = structuredClone(sound.manifest) as Draft['manifest']
  const files = new Map(sound.files)
  const code = rules[one.base]
  if (code) manifest.code = structuredClone(code) as unknown as typeof manifest.code
  if (one.base === 'gs1') {
    for (const [i, design] of manifest.designs.entries()) design.design = ['09506000134352', '09506000134369'][i]!
  }
  if (one.base === 'table') {
    files.set(
      'codes.csv',
      Buffer.from(['code,design,print,serial', 'Q/8,LIME,01,8', 'Q/9,PLUM,01,9', ...one.rows].join('\n')),
    )
  }
  const names = [...files.keys()]
  for (const { at, edits } of one.files) {
    const name = names[at % names.length]!
    files.set(name, editBytes(files.get(name)!, edits))
  }
  return { manifest, files }
}

// The manifest is edited with its digests in place, so that an edit may as well be to a digest.
function filesOf(one: PackageCase, sound: Draft, number: number): Map<string, Uint8Array> {
  const draft = draftOf(one, sound)
  draft.manifest.package = number
  const all = draftFiles(one.restated ? draft : { ...draft, files: new Map(sound.files) })
  const manifest = JSON.parse(Buffer.from(all.get('job.json')!).toString()) as unknown
  for (const edit of one.values) editValue(manifest, edit)
  return new Map([...draft.files, ['job.json', Buffer.from(JSON.stringify(manifest))]])
}

const fitsAFolder = (name: string): boolean => name !== '' && !/[\0/]|^\.+$/.test(name) && name.isWellFormed()

export const packagesTarget = defineTarget({
  name: 'packages',
  about:
    'whole packages through publishing: published and to be found again, or refused and nothing left: no staged file, no blob, no row',
  module: import.meta.url,
  bounds: { caseCpuMsMax: 4_000, growthMiBMax: 256 },
  cases: { short: 150, long: 1_500 },
  arbitrary,
  meets: ['published', 'package-refused'],
  async open() {
    const bench = await openPackageBench()
    const sound = await plainDraft()
    let number = 0
    return {
      async run(one) {
        number += 1
        const files = filesOf(one, sound, number)
        if (one.extra !== undefined && (one.form === 'zip' || fitsAFolder(one.extra)))
          files.set(one.extra, Buffer.from('x'))
        const source = await bench.source()
        const path = one.form === 'zip' ? join(source, 'package.zip') : join(source, 'package')
        if (one.form === 'zip') await writeFile(path, zipOfFiles(files))
        else {
          for (const [name, bytes] of files) {
            await mkdir(dirname(join(path, name)), { recursive: true })
            await writeFile(join(path, name), bytes)
          }
        }
        const before = await bench.left()
        const answer = await answerOf(async () => {
          const { job, package: of, outcome } = await bench.packages.publish({ path, by: 'tester' })
          const record = bench.catalogue.current().jobs.get(job)
          holds(
            record?.packages.some((known) => known.package === of) && record,
            'what is published is in the catalogue',
          )
          for (const layer of [...record.designs.values()].flat().flatMap(({ layers }) => layers)) {
            holds((await bench.blobs.condition(layer.sha256 as never)) === 'sound', 'its layers are stored')
          }
          return outcome
        })
        const after = await bench.left()
        holds(after.staged === 0, 'nothing stays in staging')
        if (answer !== 'published') {
          holds(
            JSON.stringify(before) === JSON.stringify(after),
            `${answer}, and yet ${JSON.stringify([before, after])}`,
          )
        }
        holds((await filesBelow(join(bench.folder, 'blobs/temporary'))).length === 0, 'no temporary blob stays')
        await rm(source, { recursive: true })
        return answer
      },
      close: () => bench.close(),
    }
  },
})
