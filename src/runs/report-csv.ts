// The roll record as CSV: one row a label, safe to open in a spreadsheet.
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

function rowOf(
  run: Run,
  body: EntryBodies['answer'],
  index: number,
): Record<(typeof columns)[number], string | number> {
  const frame = run.state.frames.get(body.frame)
  const ordinal = run.state.cells.findIndex((cell) => cell.cell === body.cell)
  return {
    frame: body.frame,
    place: body.place,
    positionMm: frame ? toMm(frame.positionUm) : '',
    lane: run.state.cells[ordinal]?.lane ?? '',
    cell: body.cell,
    decision: body.decision,
    flags: body.flags.join(' '),
    job: body.identity?.job ?? '',
    design: body.identity?.design ?? '',
    version: body.identity?.version ?? '',
    print: body.identity?.print ?? '',
    serial: body.identity?.serial ?? '',
    code: body.identity?.text ?? '',
    setup: body.setup ? 'yes' : '',
    revoked: run.state.revoked.has(index) ? 'yes' : '',
    laid: frame?.laid?.[ordinal] ?? '',
    ledgerIndex: index,
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
  const fill = async (): Promise<void> => {
    for await (const entry of readEntries(database, { runId: run.runId })) {
      if (entry.type !== 'answer') continue
      if (!stream.write(rowOf(run, entry.body, entry.index)))
        await new Promise((resolve) => stream.once('drain', resolve))
    }
    stream.end()
  }
  const filled = fill()
  filled.catch((error) => stream.destroy(error))
  for await (const chunk of stream) yield String(chunk)
  await filled
}
