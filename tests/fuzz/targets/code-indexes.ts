// Files of code indexes and of serials, damaged, and made up by somebody who knows their form and seals them well.
import { createHash } from 'node:crypto'
import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { buildCodeIndex, openCodeIndex, openSerialSet, restoreSerials, tableRule } from '../../../src/codes/index.ts'
import { byteEdits, editBytes, type NumberEdit, numberEdit, overwrite, placeIn } from '../arbitraries/byte-edits.ts'
import { hostileText } from '../arbitraries/hostile-text.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const sumBytes = 32

const arbitrary = fc.record({
  base: fc.nat(4),
  /** Numbers in the header, and words anywhere. */
  header: fc.array(numberEdit, { maxLength: 3 }),
  words: fc.array(numberEdit, { maxLength: 4 }),
  bytes: fc.oneof({ weight: 3, arbitrary: fc.constant([]) }, { weight: 1, arbitrary: byteEdits }),
  sealed: fc.oneof({ weight: 5, arbitrary: fc.constant(true) }, { weight: 1, arbitrary: fc.constant(false) }),
  texts: fc.array(hostileText, { maxLength: 5 }),
})
type IndexCase = typeof arbitrary extends fc.Arbitrary<infer T> ? T : never

const headerNumbers = 64

/** With its checksum right again, so that what is wrong is found by its structure. */
function spellFile(sound: Buffer, { header, words, bytes, sealed }: IndexCase): Buffer {
  const inHeader = header.reduce((file, edit) => overwrite(file, placeIn(edit.at, headerNumbers), edit), sound)
  const aligned = (edit: NumberEdit, length: number): number => placeIn(edit.at, length) & ~3
  const edited = words.reduce((file, edit) => overwrite(file, aligned(edit, file.length), edit), inHeader)
  const changed = editBytes(edited, bytes)
  if (!sealed || changed.length < sumBytes) return changed
  const body = changed.subarray(0, -sumBytes)
  return Buffer.concat([body, createHash('sha256').update(body).digest()])
}

const codes = Array.from({ length: 60 }, (_, i) => (i % 7 === 0 ? `https://x.example/${'y'.repeat(i)}` : `Q/${i}`))

const tables = {
  plain: ['code,design', ...codes.map((code) => `${code},PLUM`)],
  full: [
    'code,design,print,serial',
    ...codes.map((code, i) => `${code},${i % 2 ? 'PLUM' : 'LIME'},0${i % 3},${i % 5 ? i : `S${i}`}`),
  ],
  cells: [
    'code,design,serial,cell',
    ...codes.flatMap((code, i) => [1, 2, 3].map((cell) => `${code},PLUM,${i},${cell}`)),
  ],
}

async function soundFiles(folder: string): Promise<readonly Buffer[]> {
  const temporaryFolder = join(folder, 'temporary')
  await mkdir(temporaryFolder)
  const files: Buffer[] = []
  for (const lines of Object.values(tables)) {
    const csvPath = join(folder, 'codes.csv')
    const outPath = join(folder, 'sound')
    await writeFile(csvPath, lines.join('\n'))
    const outcome = await buildCodeIndex({
      csvPath,
      outPath,
      temporaryFolder,
      memoryBytesMax: 4 * 1024 * 1024,
      chunkBits: 20,
    })
    holds(outcome.built, 'the sound table is built')
    files.push(await readFile(outPath))
  }
  return files
}

function soundSerials(): Buffer {
  const serials = openSerialSet()
  for (let i = 0; i < 200; i += 1) serials.add(i % 3 ? String(i).padStart(6, '0') : `S${i}`, i, i % 4 || undefined)
  return Buffer.concat([...serials.snapshot()])
}

async function openIndex(path: string, texts: readonly string[]): Promise<string> {
  const index = await openCodeIndex(path)
  const rule = tableRule({ symbologies: ['qr'], index })
  for (const text of [...codes, ...texts, '']) {
    for (const cell of [undefined, 1, 3, 256]) {
      const found = index.find(text, cell)
      holds(found === undefined || typeof found.design === 'string', 'what is found has a design')
      rule.match(text, ']Q1', cell)
    }
    index.has(text)
    rule.canName({ design: text, print: text })
  }
  index.close()
  return 'opened'
}

export const indexesTarget = defineTarget({
  name: 'code-indexes',
  module: import.meta.url,
  about: 'files of code indexes and serials: opened and good for any look-up, or refused as damaged',
  bounds: { caseCpuMsMax: 3_000, growthMiBMax: 256 },
  cases: { short: 400, long: 4_000 },
  arbitrary,
  meets: ['opened', 'code-index-bad', 'restored', 'serials-bad'],
  async open() {
    const folder = await mkdtemp(join(tmpdir(), 'indexes-'))
    const files = await soundFiles(folder)
    const serials = soundSerials()
    const path = join(folder, 'index')
    return {
      run: (one) =>
        answerOf(async () => {
          const sound = files[one.base]
          if (sound) {
            await writeFile(path, spellFile(sound, one))
            return openIndex(path, one.texts)
          }
          const restored = await restoreSerials(spellFile(serials, one))
          for (const text of [...one.texts, '000001', 'S3']) restored.get(text, 1)
          return 'restored'
        }),
      close: () => rm(folder, { recursive: true }),
    }
  },
})
