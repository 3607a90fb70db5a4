// Reading committed entries a page at a time, so that memory stays flat however long the run was.
import { setImmediate as nextTurn } from 'node:timers/promises'
import type { Database, LedgerRow } from '../storage/port.ts'
import { decodeEntry } from './codec.ts'
import type { Entry } from './entries.ts'

type Rows = Pick<Database, 'readLedger'>

const pageRows = 1_024

/** Committed entries `from` (inclusive, default 0) to `to` (exclusive, default all). */
export interface EntryRange {
  readonly runId: string
  readonly from?: number
  readonly to?: number
}

/** Committed rows in order, by the page. Lets other work on the event loop run between pages. */
export async function* ledgerPages(database: Rows, range: EntryRange): AsyncGenerator<readonly LedgerRow[]> {
  const { runId, from = 0, to = Number.POSITIVE_INFINITY } = range
  for (let next = from; next < to; ) {
    const rows = await database.readLedger({ runId, from: next, count: Math.min(pageRows, to - next) })
    if (rows.length === 0) return
    yield rows
    next += rows.length
    await nextTurn()
  }
}

/** Committed entries in order. Problem `ledger-bad` on bytes that are not a canonical entry. */
export async function* readEntries(database: Rows, range: EntryRange): AsyncGenerator<Entry> {
  for await (const rows of ledgerPages(database, range)) yield* rows.map((row) => decodeEntry(row.bytes))
}

/**
 * Committed entries as the verifier takes them: the stored bytes, with the leaf hash that was stored beside them. Of a run that is
 * still written, take `to` from the last head that they are held against.
 */
export async function* storedLines(
  database: Rows,
  runId: string,
  to?: number,
): AsyncGenerator<{ readonly bytes: Uint8Array; readonly leaf: Uint8Array }> {
  for await (const rows of ledgerPages(database, { runId, ...(to === undefined ? {} : { to }) })) yield* rows
}
