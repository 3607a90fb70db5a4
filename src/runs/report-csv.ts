// The roll record as CSV: one row a label, safe to open in a spreadsheet.
import { type EntryBodies, readEntries } from '../ledger/index.ts'
import type { Database } from '../storage/port.ts'
import { csvText } from './record/csv.ts'
import { textAt } from './record/label-names.ts'
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

/** Streams the labels of a run as CSV (see record/csv.ts). Memory: one page of the ledger. */
export const reportCsv = (database: Database, run: Run): AsyncGenerator<string> => csvText(columns, rows(database, run))
