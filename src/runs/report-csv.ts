// The roll record as CSV: one row a label, safe to open in a spreadsheet.
import { pipeline } from 'node:stream/promises'
import { stringify } from 'csv-stringify'
import { type EntryBodies, readEntries } from '../ledger/index.ts'
import type { Database } from '../storage/port.ts'
import type { Run } from './run.ts'
import { toMm } from './wire.ts'

const columns = [
  'frame',
  'place',
  'positionMm',
  'lane',
  'cell',
  'decision',
  'flags',
  'job',
  'design',
  'version',
  'print',
  'serial',
  'code',
  'setup',
  'revoked',
  'laid',
  'ledgerIndex',
] as const

type Reads = NonNullable<EntryBodies['frame']['reads']>

// What was read at a cell, also where no job knew it: its own reads, its lane's, and those of the whole frame.
function textAt(reads: Reads, { cell, lane }: { readonly cell: number; readonly lane: number }): string {
  const mine = reads.filter((read) => (read.cell ?? cell) === cell && (read.lane ?? lane) === lane)
  return [...new Set(mine.flatMap(({ text }) => (text === undefined ? [] : [text])))].join(' | ')
}

function rowOf(
  run: Run,
  body: EntryBodies['answer'],
  { index, reads }: { readonly index: number; readonly reads: Reads },
): Record<(typeof columns)[number], string | number> {
  const frame = run.state.frames.get(body.frame)
  const ordinal = run.state.cells.findIndex((cell) => cell.cell === body.cell)
  const at = run.state.cells[ordinal]
  return {
    frame: body.frame,
    place: body.place,
    positionMm: frame ? toMm(frame.positionUm) : '',
    lane: at?.lane ?? '',
    cell: body.cell,
    decision: body.decision,
    flags: body.flags.join(' '),
    job: body.identity?.job ?? '',
    design: body.identity?.design ?? '',
    version: body.identity?.version ?? '',
    print: body.identity?.print ?? '',
    serial: body.identity?.serial ?? '',
    code: body.identity?.text ?? (at ? textAt(reads, at) : ''),
    setup: body.setup ? 'yes' : '',
    revoked: run.state.revoked.has(index) ? 'yes' : '',
    laid: frame?.laid?.[ordinal] ?? '',
    ledgerIndex: index,
  }
}

type Row = ReturnType<typeof rowOf>

// Reads wait for the answers of their frame; memory is what lies between, a few frames.
async function* rows(database: Database, run: Run): AsyncGenerator<Row> {
  const waiting = new Map<number, Reads>()
  const lastCell = run.state.cells.at(-1)?.cell
  for await (const entry of readEntries(database, { runId: run.runId })) {
    if (entry.type === 'frame' || entry.type === 'reads') {
      if (entry.body.reads) waiting.set(entry.body.frame, entry.body.reads)
    } else if (entry.type === 'answer') {
      const { frame, cell } = entry.body
      yield rowOf(run, entry.body, { index: entry.index, reads: waiting.get(frame) ?? [] })
      if (cell === lastCell) waiting.delete(frame)
    }
  }
}

/**
 * Streams the labels of a run as RFC 4180 CSV with a byte-order mark. Cells that a spreadsheet would take for a formula are escaped
 * with a leading apostrophe. Memory: one page of the ledger.
 */
export async function* reportCsv(database: Database, run: Run): AsyncGenerator<string> {
  const stream = stringify({
    header: true,
    columns: [...columns],
    escape_formulas: true,
    record_delimiter: 'windows',
    bom: true,
  })
  const filled = pipeline(rows(database, run), stream)
  // The reader of the stream sees the failure.
  filled.catch(() => undefined)
  for await (const chunk of stream) yield String(chunk)
  await filled
}
