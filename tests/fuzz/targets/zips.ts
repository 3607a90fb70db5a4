// ZIPs that lie about sizes, counts, names, links and places, and damaged ones, through taking in.
import { existsSync, readdirSync } from 'node:fs'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { takeIn } from '../../../src/packages/intake.ts'
import { checkManifest } from '../../../src/packages/manifest-check.ts'
import type { IntakeLimits } from '../../../src/packages/staging.ts'
import { draftFiles, plainDraft } from '../../fixtures/packages.ts'
import { type ZipEntryDraft, zipOf, zipStating } from '../../fixtures/zips.ts'
import {
  byteEdit,
  edgeNumber,
  editBytes,
  type NumberEdit,
  numberEdit,
  overwrite,
  placeIn,
} from '../arbitraries/byte-edits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { codeOf, holds, judgeRefusal } from '../judge.ts'
import { defineTarget } from '../target.ts'

const held: IntakeLimits = { filesMax: 200, bytesMax: 8 * 1024 * 1024, zipRatioMax: 1_000 }

const size32 = edgeNumber.map((value) => Number(BigInt.asUintN(32, value)))
const entry = fc.record(
  {
    name: fc.oneof(
      fc.constantFrom(
        'a',
        'b/c',
        'job.json',
        'x/job.json',
        'LIME/relief.png',
        'a/',
        '/a',
        '../a',
        'a\\b',
        'A',
        'é',
        'e\u0301',
      ),
      hostileText,
      fc.uint8Array({ maxLength: 12 }),
      longText,
    ),
    size: fc.constantFrom(0, 1, 100, 70_000, 3_000_000),
    fill: fc.constantFrom('zeros', 'text', 'json'),
    stored: fc.boolean(),
    flags: fc.constantFrom(0x800, 0, 1, 8, 0x801, 0x2000, 0xffff),
    method: fc.constantFrom(0, 8, 9, 12, 99),
    mode: fc.constantFrom(0o100644, 0o120777, 0o040755, 0o060644, 0o140644, 0),
    statedBytes: size32,
    crc: size32,
    sharesWith: fc.nat(5),
  },
  { requiredKeys: ['name', 'size', 'fill'] },
)

/** An entry that lies about nothing. */
const plainEntry = fc.record({
  name: fc.oneof(fc.constantFrom('extra.png', '../up', '/abs', 'job.json', 'a\\b'), hostileText),
  size: fc.constantFrom(0, 100),
  fill: fc.constant('text'),
})

interface DraftEntry extends Omit<ZipEntryDraft, 'bytes'> {
  readonly size: number
  readonly fill: string
}

function spellEntries(entries: readonly DraftEntry[]): ZipEntryDraft[] {
  return entries.map(({ size, fill, sharesWith, name, ...rest }, i) => ({
    ...rest,
    // The format counts a name's bytes in 16 bits.
    name: Buffer.from(name).subarray(0, 0xffff),
    bytes:
      fill === 'json' ? Buffer.from('{"schema":"rollcall.job/1"}') : Buffer.alloc(size, fill === 'zeros' ? 0 : 'text'),
    ...(sharesWith !== undefined && sharesWith < i ? { sharesWith } : {}),
  }))
}

// Numbers are written into the last quarter of the file, where the central directory and the end record stand.
const writeNumbers = (bytes: Buffer, numbers: readonly NumberEdit[]): Buffer =>
  numbers.reduce((file, edit) => {
    const from = Math.floor(file.length * 0.75)
    return overwrite(file, from + placeIn(edit.at, file.length - from), edit)
  }, bytes)

export const zipsTarget = defineTarget({
  name: 'zips',
  module: import.meta.url,
  about: 'ZIPs through taking in: staged within the limits, or refused and nothing left of it, no file open',
  bounds: { caseCpuMsMax: 3_000, growthMiBMax: 256 },
  cases: { short: 300, long: 4_000 },
  arbitrary: fc.record({
    base: fc.constantFrom('package', 'nested', 'empty'),
    entries: fc.oneof(
      { weight: 1, arbitrary: fc.array(plainEntry, { maxLength: 2 }) },
      { weight: 2, arbitrary: fc.array(entry, { maxLength: 6 }) },
    ),
    count: fc.oneof({ weight: 6, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: fc.nat(70_000) }),
    stating: fc.oneof({ weight: 20, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: fc.nat(2 ** 31) }),
    numbers: fc.oneof(
      { weight: 1, arbitrary: fc.constant([]) },
      { weight: 1, arbitrary: fc.array(numberEdit, { minLength: 1, maxLength: 3 }) },
    ),
    bytes: fc.oneof(
      { weight: 2, arbitrary: fc.constant([]) },
      { weight: 1, arbitrary: fc.array(byteEdit, { maxLength: 4 }) },
    ),
  }),
  meets: ['taken', 'zip-bad', 'zip-too-large', 'file-path', 'file-extra'],
  async open() {
    const files = [...draftFiles(await plainDraft())].map(([name, bytes]) => ({ name, bytes }))
    const folder = await mkdtemp(join(tmpdir(), 'zips-'))
    const path = join(folder, 'package.zip')
    const into = join(folder, 'staged')
    return {
      async run({ base, entries, count, stating, numbers, bytes }) {
        const prefix = base === 'nested' ? 'my package/' : ''
        const sound =
          base === 'empty' ? [] : files.map(({ name, bytes: held }) => ({ name: prefix + name, bytes: held }))
        const all = [...sound, ...spellEntries(entries)]
        const zip = stating === undefined ? zipOf(all, count === undefined ? {} : { count }) : zipStating(stating)
        await writeFile(path, editBytes(writeNumbers(zip, numbers), bytes))
        try {
          const staged = await takeIn({ path }, into, held)
          holds(
            staged.bytes <= held.bytesMax && staged.files.length <= held.filesMax,
            'what is staged is within the limits',
          )
          for (const { stored } of staged.files) holds(existsSync(stored), 'what is staged is there')
          const { findings } = checkManifest(staged)
          await rm(into, { recursive: true, force: true })
          return codeOf(findings)
        } catch (error) {
          holds(!existsSync(into), 'nothing is left of a refused ZIP')
          return judgeRefusal(error)
        } finally {
          holds(readdirSync(folder).length === 1, 'only the ZIP itself lies there')
        }
      },
      close: () => rm(folder, { recursive: true }),
    }
  },
})
