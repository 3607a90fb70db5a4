// What `rollcall run` is fed with: a CSV of reads, and names of captures.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { readsIn } from '../../../src/cli/feed.ts'
import { frameEventSchema, parseCaptureName } from '../../../src/runs/index.ts'
import { type ByteEdit, byteEdit, editBytes } from '../arbitraries/byte-edits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const columns = ['frame', 'positionMm', 'text', 'cell', 'lane', 'symbology', 'quality']
const number = fc.oneof(
  { weight: 8, arbitrary: fc.nat(4).map(String) },
  { weight: 1, arbitrary: fc.constantFrom('-1', '1e9', '1e400', 'NaN', '9007199254740993', '0x10', '1.5', ' 2 ', '') },
  { weight: 1, arbitrary: hostileText },
)
const cell = fc.oneof(
  { weight: 6, arbitrary: number },
  { weight: 2, arbitrary: fc.constantFrom('J/A/01/000001', '', ']Q1', '0.5') },
  { weight: 1, arbitrary: hostileText },
  { weight: 1, arbitrary: longText },
)

/** A sound row with some of its fields replaced, or any. */
const row = fc.oneof(
  {
    weight: 8,
    arbitrary: fc.tuple(fc.nat(1), fc.array(fc.tuple(fc.nat(6), cell), { maxLength: 1 })).map(([lane, changes]) => {
      const fields = ['7', '420', `J/A/01/00000${lane}`, String(lane + 1), '', ']Q1', '0.9']
      for (const [i, value] of changes) fields[i] = value
      return fields
    }),
  },
  { weight: 1, arbitrary: fc.array(cell, { minLength: 6, maxLength: 8 }) },
)

const arbitrary = fc.oneof(
  {
    weight: 5,
    arbitrary: fc.record({
      kind: fc.constant('reads' as const),
      header: fc.oneof(
        { weight: 8, arbitrary: fc.constant(columns) },
        {
          weight: 1,
          arbitrary: fc.array(fc.oneof(fc.constantFrom(...columns), hostileText, longText), { maxLength: 8 }),
        },
      ),
      rows: fc.array(row, { maxLength: 8 }),
      times: fc.oneof({ weight: 8, arbitrary: fc.constant(1) }, { weight: 1, arbitrary: fc.constant(2_000) }),
      eol: fc.constantFrom('\n', '\r\n', '\r'),
      edits: fc.oneof(
        { weight: 2, arbitrary: fc.constant<ByteEdit[]>([]) },
        { weight: 1, arbitrary: fc.array(byteEdit, { maxLength: 3 }) },
      ),
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant('name' as const),
      name: fc
        .tuple(
          fc.oneof(fc.nat().map(String), hostileText, fc.constantFrom('9'.repeat(400), '-1')),
          fc.constantFrom('_', '__', ''),
          number,
          fc.constantFrom('.png', '.JPG', '.tiff', '', '.png.refused'),
        )
        .map((parts) => parts.join('')),
    }),
  },
)

/** Characters of a file at most; one with longer rows is not repeated. */
const textMax = 1_000_000

const quote = (value: string): string => (/[",\r\n]/.test(value) ? `"${value.replaceAll('"', '""')}"` : value)

export const feedsTarget = defineTarget({
  name: 'feeds',
  about: 'a CSV of reads and names of captures: frame events that the wire takes, or a refusal with file and row',
  module: import.meta.url,
  bounds: { caseCpuMsMax: 2_000, growthMiBMax: 128 },
  cases: { short: 200, long: 4_000 },
  arbitrary,
  meets: ['read', 'bad-request', 'capture-name'],
  async open() {
    const folder = await mkdtemp(join(tmpdir(), 'feeds-'))
    const path = join(folder, 'reads.csv')
    return {
      run: (one) =>
        answerOf(async () => {
          if (one.kind === 'name') {
            const { frame, positionUm } = parseCaptureName(one.name)
            holds(Number.isSafeInteger(frame) && Number.isSafeInteger(positionUm), 'a name says whole numbers')
            return 'named'
          }
          const rowsBytes = one.rows.flat().reduce((sum, value) => sum + value.length, 1)
          const times = Math.max(1, Math.min(one.times, Math.floor(textMax / rowsBytes)))
          const body = Array.from({ length: times }, () => one.rows).flat()
          const text = [one.header, ...body].map((row) => row.map(quote).join(',')).join(one.eol)
          await writeFile(path, editBytes(Buffer.from(text), one.edits))
          const feeds = await readsIn(path)
          for (const feed of feeds) {
            if (feed.kind === 'reads')
              holds(frameEventSchema.safeParse(feed.event).success, 'the wire takes what was read')
          }
          return feeds.length > 0 ? 'read' : 'empty'
        }),
      close: () => rm(folder, { recursive: true }),
    }
  },
})
