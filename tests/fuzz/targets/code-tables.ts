// Code tables as spreadsheets, presses and people with no good in mind write them, through the builder of code indexes.
import { existsSync, readdirSync } from 'node:fs'
import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { buildCodeIndex, openCodeIndex } from '../../../src/codes/index.ts'
import { limits } from '../../../src/kernel/limits.ts'
import { byteEdit, editBytes } from '../arbitraries/byte-edits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { answerOf, holds, judgeFindings } from '../judge.ts'
import { defineTarget } from '../target.ts'

const columns = ['code', 'design', 'print', 'serial', 'cell'] as const

const code = fc.oneof(
  { weight: 8, arbitrary: fc.nat(400).map((number) => `Q/${number}`) },
  { weight: 3, arbitrary: fc.string({ minLength: 1, maxLength: 24 }) },
  { weight: 1, arbitrary: hostileText },
  {
    weight: 1,
    arbitrary: fc.constantFrom('1.23457E+15', '1,23457E+11', '"', 'a"b', 'a,b', 'x'.repeat(200), 'x'.repeat(201)),
  },
)
const field = (usual: fc.Arbitrary<string>): fc.Arbitrary<string> =>
  fc.oneof(
    { weight: 12, arbitrary: usual },
    { weight: 1, arbitrary: hostileText },
    { weight: 1, arbitrary: fc.constant('') },
  )
const row = fc.record({
  code,
  design: field(fc.constantFrom('PLUM', 'LIME', 'ELDER')),
  print: field(fc.constantFrom('01', '02')),
  serial: field(
    fc.oneof(fc.nat(1e9).map(String), fc.stringMatching(/^[A-Z0-9]{1,12}$/), fc.constant('00000000000000000001')),
  ),
  cell: field(fc.integer({ min: 1, max: 4 }).map(String)),
})

const shuffled = (names: readonly string[], order: Iterable<number>): readonly string[] => {
  const places = order[Symbol.iterator]()
  const keyed = names.map((name) => ({ name, key: places.next().value as number }))
  return keyed.toSorted((a, b) => a.key - b.key).map(({ name }) => name)
}

const header: fc.Arbitrary<readonly string[]> = fc.oneof(
  {
    weight: 12,
    arbitrary: fc
      .tuple(fc.subarray(['print', 'serial', 'cell']), fc.array(fc.nat(), { minLength: 5, maxLength: 5 }))
      .map(([more, order]) => shuffled(['code', 'design', ...more], order)),
  },
  { weight: 1, arbitrary: fc.subarray<string>([...columns]) },
  {
    weight: 1,
    arbitrary: fc.array(
      fc.oneof(fc.constantFrom<string>(...columns, 'Code', ' code', 'code;design', ''), hostileText),
      { maxLength: 70 },
    ),
  },
)

const arbitrary = fc.record({
  header,
  rows: fc.array(row, { maxLength: 12 }),
  /** All rows so often, told apart by a number behind the code or not at all. */
  times: fc.oneof({ weight: 12, arbitrary: fc.constant(1) }, { weight: 1, arbitrary: fc.constantFrom(300, 4_000) }),
  apart: fc.boolean(),
  eol: fc.constantFrom('\n', '\r\n', '\r'),
  quoted: fc.constantFrom('needed', 'all', 'none'),
  encoding: fc.constantFrom(
    'utf-8',
    'utf-8',
    'utf-8',
    'utf-8 with mark',
    'utf-16le',
    'utf-16be',
    'utf-16le without mark',
  ),
  lastEol: fc.boolean(),
  tail: fc.oneof(
    { weight: 8, arbitrary: fc.constant('') },
    { weight: 1, arbitrary: fc.constantFrom('"', '\0', ',', '\n\n\n', '"open', ' ', '\u001a') },
    { weight: 1, arbitrary: longText },
  ),
  edits: fc.oneof(
    { weight: 3, arbitrary: fc.constant([]) },
    { weight: 2, arbitrary: fc.array(byteEdit, { minLength: 1, maxLength: 5 }) },
  ),
})

type TableCase = typeof arbitrary extends fc.Arbitrary<infer T> ? T : never
type Row = Record<(typeof columns)[number], string>

const allRows = ({ rows, times, apart }: TableCase): readonly Row[] =>
  Array.from({ length: times }, (_, i) =>
    apart && i > 0 ? rows.map((one) => ({ ...one, code: `${one.code}-${i}` })) : rows,
  ).flat()

function spellField(value: string, quoted: TableCase['quoted']): string {
  if (quoted === 'none' || (quoted === 'needed' && !/[",\r\n]/.test(value))) return value
  return `"${value.replaceAll('"', '""')}"`
}

function encode(text: string, encoding: TableCase['encoding']): Buffer {
  if (encoding === 'utf-8') return Buffer.from(text)
  if (encoding === 'utf-8 with mark') return Buffer.from(`\ufeff${text}`)
  const units = Buffer.from(encoding === 'utf-16le without mark' ? text : `\ufeff${text}`, 'utf16le')
  return encoding === 'utf-16be' ? units.swap16() : units
}

function spellTable(one: TableCase): Buffer {
  const line = (values: readonly string[]): string => values.map((value) => spellField(value, one.quoted)).join(',')
  const body = allRows(one).map((of) =>
    line(one.header.map((column) => (Object.hasOwn(of, column) ? of[column as keyof Row] : 'x'))),
  )
  const text = [line(one.header), ...body].join(one.eol) + (one.lastEol ? one.eol : '') + one.tail
  return editBytes(encode(text, one.encoding), one.edits)
}

// Whether the rows are on the file as they were made, so that what was built can be held against them.
const isPlain = ({ edits, tail, quoted, rows }: TableCase): boolean =>
  edits.length === 0 && tail === '' && quoted !== 'none' && rows.every((of) => Object.values(of).join().isWellFormed())

async function judgeIndex(path: string, one: TableCase): Promise<void> {
  const index = await openCodeIndex(path)
  try {
    for (const absent of ['', 'absent', '\ud800', 'x'.repeat(500)]) {
      if (!allRows(one).some((of) => of.code === absent))
        holds(one.edits.length > 0 || !index.has(absent), `${absent} is found`)
    }
    for (const of of allRows(one)) {
      const cell = one.header.includes('cell') ? Number(of.cell) : undefined
      const found = index.find(of.code, cell)
      if (!isPlain(one)) continue
      holds(found?.design === of.design, `the code ${JSON.stringify(of.code)} names ${found?.design}, not ${of.design}`)
      if (one.header.includes('serial'))
        holds(found.serial === of.serial, `its serial is ${found.serial}, not ${of.serial}`)
      if (one.header.includes('print'))
        holds(found.print === of.print, `its print version is ${found.print}, not ${of.print}`)
    }
  } finally {
    index.close()
  }
}

export const tablesTarget = defineTarget({
  name: 'code-tables',
  module: import.meta.url,
  about: 'code tables: an index that finds exactly its rows, or findings by row; nothing left of a refused one',
  bounds: { caseCpuMsMax: 4_000, growthMiBMax: 256 },
  cases: { short: 200, long: 2_500 },
  arbitrary,
  meets: ['built', 'table-header', 'table-row', 'table-code', 'table-value', 'table-duplicate', 'table-encoding'],
  async open() {
    const folder = await mkdtemp(join(tmpdir(), 'tables-'))
    const temporaryFolder = join(folder, 'temporary')
    await mkdir(temporaryFolder)
    const csvPath = join(folder, 'codes.csv')
    const outPath = join(folder, 'index')
    return {
      run: (one) =>
        answerOf(async () => {
          await rm(outPath, { force: true })
          await writeFile(csvPath, spellTable(one))
          const outcome = await buildCodeIndex({ csvPath, outPath, temporaryFolder, memoryBytesMax: 4 * 1024 * 1024 })
          holds(readdirSync(temporaryFolder).length === 0, 'a build leaves nothing behind')
          holds(existsSync(outPath) === outcome.built, 'an index is there where one was built')
          if (!outcome.built) {
            const { findings, findingsTotal } = outcome
            judgeFindings(findings)
            holds(
              findings.length > 0 && findings.length <= 20 * limits.tableFindingsMax,
              'findings are there and bounded',
            )
            holds(findingsTotal >= findings.length - 20, 'findings are counted')
            return findings[0]?.code
          }
          await judgeIndex(outPath, one)
          return 'built'
        }),
      close: () => rm(folder, { recursive: true }),
    }
  },
})
