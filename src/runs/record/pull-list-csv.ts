// The pull list as CSV: a row a section.
import { csvText } from './csv.ts'
import type { PullRow } from './pull-list.ts'

const columns = [
  'roll',
  'fromM',
  'toM',
  'toleranceM',
  'lanes',
  'cells',
  'frames',
  'labels',
  'class',
  'what',
  'firstFrame',
  'lastFrame',
  'codeBefore',
  'framesBefore',
  'codeFirst',
  'codeLast',
  'codeAfter',
  'framesAfter',
] as const

async function* flat(rows: AsyncIterable<PullRow>) {
  for await (const { lanes, cells, ...row } of rows)
    yield { ...absent, ...row, lanes: lanes.join(' '), cells: cells.join(' ') }
}

const absent = Object.fromEntries(columns.map((name) => [name, ''])) as Record<(typeof columns)[number], string>

export const pullListCsv = (rows: AsyncIterable<PullRow>): AsyncGenerator<string> => csvText(columns, flat(rows))
