// Sequences as presses, spreadsheets and people with no good in mind write them, through reading and counting labels.
import { mkdtemp, open, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { limits } from '../../../src/kernel/limits.ts'
import { freeze, layoutOf, tallySequence } from '../../../src/lines/index.ts'
import { resolverOver } from '../../../src/runs/resolver-over.ts'
import { code, handCatalogue, publishedJobs, ticket } from '../../fixtures/runs.ts'
import { type ByteEdit, byteEdit, editBytes } from '../arbitraries/byte-edits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { answerOf, holds, judgeFindings } from '../judge.ts'
import { defineTarget } from '../target.ts'

const rarely = <T>(usual: fc.Arbitrary<T>, seldom: fc.Arbitrary<T>) =>
  fc.oneof({ weight: 15, arbitrary: usual }, { weight: 1, arbitrary: seldom })

const row = fc.record({
  /** Added to the position of the row before. */
  step: rarely(fc.constantFrom(0, 1, 1), fc.constantFrom(-1, 2, 1_000, 1e9)),
  position: rarely(fc.constant(''), fc.oneof(hostileText, fc.constantFrom('-1', '1e3', '0x1', '٣', ' 1', '00000000'))),
  cell: rarely(fc.constantFrom('1', '2'), fc.oneof(hostileText, fc.constantFrom('', '3', '0', '257', '01'))),
  code: rarely(
    fc.oneof(
      fc.tuple(fc.constantFrom('A', 'B', 'F', 'N'), fc.nat(99)).map(([design, serial]) => code(design, serial)),
      fc.nat(9).map((serial) => code('Z', serial, '01', 'K')),
      fc.string({ maxLength: 30 }),
    ),
    fc.oneof(hostileText, fc.constantFrom('', 'x'.repeat(200), 'x'.repeat(201))),
  ),
})

const arbitrary = fc.record({
  header: rarely(
    fc.constantFrom('position,cell,code', 'code,position,cell', 'position,code'),
    fc.oneof(hostileText, fc.constantFrom('Position,code', 'position;code', 'code', 'position,code,code', '')),
  ),
  rows: fc.array(row, { maxLength: 16 }),
  times: rarely(fc.constant(1), fc.constantFrom(200, 3_000)),
  identifies: fc.constantFrom('cell', 'lane', 'frame'),
  eol: fc.constantFrom('\n', '\r\n', '\r'),
  encoding: rarely(fc.constant('utf8'), fc.constantFrom('utf16le', 'latin1')),
  tail: rarely(fc.constant(''), fc.oneof(longText, fc.constantFrom('"', '\0', ',', '\n\n', '"open'))),
  edits: rarely<readonly ByteEdit[]>(fc.constant([]), fc.array(byteEdit, { minLength: 1, maxLength: 4 })),
})
type SequenceCase = typeof arbitrary extends fc.Arbitrary<infer T> ? T : never

const quoted = (text: string): string => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text)

function spell({ header, rows, times, eol, encoding, tail, edits }: SequenceCase): Buffer {
  const columns = header.split(',')
  let position = 0
  const lines = Array.from({ length: times }, () => rows)
    .flat()
    .map((of) => {
      position += of.step
      const fields: Record<string, string> = { ...of, step: '', position: of.position || String(position) }
      return columns.map((column) => quoted(Object.hasOwn(fields, column) ? (fields[column] ?? '') : 'x')).join(',')
    })
  const text = [header, ...lines, tail].join(eol)
  return editBytes(Buffer.from(encoding === 'utf16le' ? `\ufeff${text}` : text, encoding as BufferEncoding), edits)
}

export const sequencesTarget = defineTarget({
  name: 'sequences',
  module: import.meta.url,
  about: 'sequences: every sound label counted once in one group, or findings by row, within bounded memory',
  bounds: { caseCpuMsMax: 4_000, growthMiBMax: 256 },
  cases: { short: 200, long: 2_500 },
  arbitrary,
  meets: [
    'counted',
    'sequence-header',
    'sequence-row',
    'sequence-position',
    'sequence-cell',
    'sequence-code',
    'sequence-encoding',
  ],
  async open() {
    const folder = await mkdtemp(join(tmpdir(), 'sequences-'))
    const file = join(folder, 'sequence.csv')
    const catalogue = handCatalogue(publishedJobs())
    const { jobs } = freeze(catalogue.current(), ticket())
    const resolver = await resolverOver(catalogue, jobs)
    const [first] = jobs
    if (!first) throw new Error('the job is published')
    const { frame } = first
    return {
      run: (one) =>
        answerOf(async () => {
          await writeFile(file, spell(one))
          const handle = await open(file, 'r')
          const layout = layoutOf({ ...frame, codeAt: { ...frame.codeAt, identifies: one.identifies as 'cell' } })
          const tally = await tallySequence({
            handle,
            file: 'sequence.csv',
            layout,
            resolve: (text, cell) => {
              holds(layout.cells.includes(cell), 'a label stands in a cell of the roll')
              holds(text !== '' && Buffer.byteLength(text) <= limits.codeBytesMax, 'a code is there and not too long')
              return resolver.resolve(text, undefined, cell)
            },
          }).finally(() => handle.close())
          const counted = tally.groups.reduce((sum, group) => sum + group.labels, 0)
          holds(counted === tally.labels, 'every label is in one group')
          holds(tally.twice.labels <= tally.labels, 'no label stands twice that does not stand there')
          for (const { examples, labels, cells } of tally.groups) {
            holds(examples.length === Math.min(3, labels), 'a group has its examples')
            holds(cells.size > 0 && cells.size <= layout.cells.length, 'a group knows its cells')
          }
          judgeFindings(tally.findings)
          holds(tally.findings.length <= 7 * (limits.tableFindingsMax + 1), 'findings are bounded')
          holds(tally.findingsTotal >= tally.findings.length - 7, 'findings are counted')
          return tally.findings[0]?.code ?? 'counted'
        }),
      close: () => rm(folder, { recursive: true }),
    }
  },
})
