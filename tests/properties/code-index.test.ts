// The code index against a plain Map, and the table reader against an independent CSV writer and parser.
import { parse } from 'csv-parse/sync'
import { stringify } from 'csv-stringify/sync'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { openFrom, readTable } from '../fixtures/code-tables.ts'

interface Row {
  readonly code: string
  readonly design: string
  readonly serial: string
}

const bytesOf = (text: string): number => Buffer.byteLength(text)
const fits = (code: string): boolean => bytesOf(code) >= 1 && bytesOf(code) <= 200

// Unicode scalar values without NUL, weighted towards what codes are made of.
const character = fc.oneof(
  { weight: 6, arbitrary: fc.constantFrom(...'ABCab019-/.:,"\n\r ') },
  {
    weight: 2,
    arbitrary: fc.string({ unit: 'binary', minLength: 1, maxLength: 1 }).filter((c) => c !== '\0' && c.isWellFormed()),
  },
)
const anyCode = fc.string({ unit: character, minLength: 1, maxLength: 200 }).filter(fits)
const shortCode = fc.string({ unit: fc.constantFrom('a', 'b', 'é'), minLength: 1, maxLength: 5 })
/** Long shared beginnings and ends, so that codes differ in one place only. */
const likeCode = fc
  .tuple(
    fc.constantFrom('', 'QG2608/PLUM-DE/02/', 'x'.repeat(150)),
    fc.integer({ min: 0, max: 2_000 }),
    fc.constantFrom('', '/end', 'é'),
  )
  .map(([head, number, tail]) => `${head}${String(number).padStart(6, '0')}${tail}`)
const code = fc.oneof(anyCode, shortCode, likeCode)

const row: fc.Arbitrary<Row> = fc.record({
  code,
  design: fc.constantFrom('Plum', 'Fig', 'Quitte é', '木'),
  serial: fc.oneof(
    fc.nat().map(String),
    fc.integer({ min: 0, max: 99 }).map((n) => String(n).padStart(12, '0')),
    fc.constantFrom('S,1', '"', 'é'),
  ),
})
const rows = fc.uniqueArray(row, { selector: ({ code }) => code, minLength: 1, maxLength: 120 })

/** The code with one byte, or one character, changed, added or left out. */
function nearMisses(code: string, at: number): string[] {
  const place = at % code.length
  const changed = Buffer.from(code)
  changed[at % changed.length] = changed[at % changed.length]! ^ (1 << (at % 7))
  return [
    changed.toString('utf8'),
    `${code} `,
    ` ${code}`,
    code.slice(0, -1),
    code.slice(1),
    code.slice(0, place) + code.slice(place + 1),
    code.slice(0, place) + String.fromCharCode(code.charCodeAt(place) ^ 1) + code.slice(place + 1),
    code + code,
    code.normalize('NFD'),
    code.toUpperCase(),
  ]
}

const quoted = { quoted: true, record_delimiter: '\r\n' } as const

describe('the code index', () => {
  it('finds every code of its table, and nothing else', async () => {
    await fc.assert(
      fc.asyncProperty(rows, fc.array(code, { maxLength: 30 }), fc.nat(), async (table, others, at) => {
        const text = stringify(
          [['code', 'design', 'serial'], ...table.map((row) => [row.code, row.design, row.serial])],
          quoted,
        )
        const { index, built } = await openFrom(text)
        const map = new Map(table.map(({ code, ...entry }) => [code, entry]))
        expect(built.codes).toBe(map.size)
        const asked = [...map.keys(), ...others, ...table.flatMap(({ code }, i) => nearMisses(code, at + i))]
        for (const text of asked) {
          expect(index.find(text)).toEqual(map.get(text))
          expect(index.has(text)).toBe(map.has(text))
        }
        index.close()
      }),
      { numRuns: 150 },
    )
  })

  it('has the same bytes for the same rows in any order', async () => {
    await fc.assert(
      fc.asyncProperty(
        rows.chain((table) => fc.tuple(fc.constant(table), fc.shuffledSubarray(table, { minLength: table.length }))),
        async ([table, shuffled]) => {
          const textOf = (list: readonly Row[]): string =>
            stringify([['code', 'design', 'serial'], ...list.map((row) => [row.code, row.design, row.serial])], quoted)
          const turned = stringify([
            ['serial', 'code', 'design'],
            ...shuffled.map((row) => [row.serial, row.code, row.design]),
          ])
          const digests = [textOf(table), textOf(shuffled), turned].map(
            async (text) => (await openFrom(text)).built.digest,
          )
          expect(new Set(await Promise.all(digests)).size).toBe(1)
        },
      ),
      { numRuns: 40 },
    )
  })
})

describe('the table reader', () => {
  const field = fc.string({ unit: character, minLength: 1, maxLength: 30 }).filter(fits)
  const tables = fc.array(fc.tuple(field, field), { minLength: 1, maxLength: 60 })
  const end = fc.constantFrom('\n', '\r\n', '\r')

  it('reads what an independent writer wrote, and as an independent parser does', async () => {
    await fc.assert(
      fc.asyncProperty(
        tables,
        end,
        fc.boolean(),
        fc.integer({ min: 1, max: 300 }),
        async (table, record_delimiter, all, blockBytes) => {
          // A lone CR or LF inside a field needs quotes whatever ends the rows; the writer knows of its own end only.
          const text = stringify([['code', 'design'], ...table], {
            record_delimiter,
            quoted: all,
            quoted_match: /[\r\n]/,
          })
          const { rows, findings } = await readTable(text, blockBytes)
          expect(findings.filter(({ code }) => code !== 'table-mangled')).toEqual([])
          const parsed: string[][] = parse(text, { record_delimiter })
          expect(rows.map(({ fields }) => [fields.code, fields.design])).toEqual(table)
          expect(parsed.slice(1)).toEqual(table)
        },
      ),
      { numRuns: 200 },
    )
  })
})
