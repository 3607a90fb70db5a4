// GS1 codes: taking one apart and checking all of it, against a regular expression that cuts the same fields and checks nothing.
import { compileGs1, readGs1 } from '../../src/codes/index.ts'
import { assert } from '../../src/kernel/assert.ts'
import type { Bench, BenchTools } from './bench.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, timeRow } from './rows.ts'

/** Keeps what a loop works out, so that the compiler can't leave it out. */
let sink = 0

const codesPerRound = 50_000
const gtins = ['09521234543213', '12312312312333', '12345678901231', '09520123456788']
const gtinOf = (index: number): string => gtins[index % gtins.length] ?? ''

interface Kind {
  readonly what: string
  readonly identifier: string
  readonly serial: string
  readonly textOf: (index: number) => string
  /** Cuts design and serial, wherever they stand well. */
  readonly pattern: RegExp
}

const kinds: readonly Kind[] = [
  {
    what: 'element string 01, 17, 10, 21',
    identifier: ']d2',
    serial: '21',
    textOf: (index) => `01${gtinOf(index)}1726123110LOT${index % 97}\u001d21${String(index).padStart(8, '0')}`,
    // biome-ignore lint/suspicious/noControlCharactersInRegex: the separator of element strings
    pattern: /^01(?<design>[0-9]{14})17(?<date>[0-9]{6})10(?<lot>[^\u001d]{1,20})\u001d21(?<serial>[^\u001d]{1,20})$/,
  },
  {
    what: 'Digital Link 01, 21',
    identifier: ']Q1',
    serial: '21',
    textOf: (index) => `https://id.gs1.org/01/${gtinOf(index)}/21/${String(index).padStart(8, '0')}`,
    pattern: /^https:\/\/[^/]+\/01\/(?<design>[0-9]{14})\/21\/(?<serial>[^/]{1,20})$/,
  },
]

async function rowsOf({ quick }: BenchTools, kind: Kind): Promise<readonly Row[]> {
  const { identifier, pattern, serial } = kind
  // Joined texts are flattened once, as texts from a socket are.
  const texts = Array.from({ length: codesPerRound }, (_, index) => Buffer.from(kind.textOf(index)).toString('latin1'))
  const rule = compileGs1({ symbologies: ['qr', 'data-matrix'], design: '01', serial })
  const each = async (work: (text: string) => number): Promise<number> => {
    const ms = await timed(() => {
      for (const text of texts) sink += work(text)
    })
    return (1e6 * ms) / texts.length
  }
  const figures = await interleave(
    { rounds: quick ? 3 : 9, warmUp: 2 },
    {
      read: () => each((text) => Number(readGs1(text, { identifier }).ok)),
      match: () => each((text) => rule.match(text, identifier)?.serial?.length ?? 0),
      pattern: () => each((text) => pattern.exec(text)?.groups?.serial?.length ?? 0),
    },
  )
  const against = [{ what: 'a RegExp that checks nothing', figures: figures.pattern }]
  const length = texts[0]?.length ?? 0
  return [
    timeRow({
      what: `GS1 ${kind.what}: parse and check`,
      unit: 'ns',
      figures: figures.read,
      against,
      note: `${length} characters a code`,
    }),
    timeRow({ what: `GS1 ${kind.what}: match a rule`, unit: 'ns', figures: figures.match, against }),
  ]
}

export const benchGs1: Bench = async (tools) => {
  const rows: Row[] = []
  for (const kind of kinds) rows.push(...(await rowsOf(tools, kind)))
  assert(sink > 0, 'every code was read')
  return rows
}
