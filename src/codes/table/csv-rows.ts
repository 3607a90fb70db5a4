// Streams a code table: checked rows batch by batch, as places in a window of UTF-8 bytes, with every finding by row number.
import type { FileHandle } from 'node:fs/promises'
import { type ColumnPlaces, readHeader, tableColumns } from './csv-header.ts'
import { openScan, type Scan, scanBatch } from './csv-scan.ts'
import { openWindow, type TextWindow } from './csv-window.ts'
import { openRowCheck } from './row-check.ts'
import type { TableFindings } from './table-findings.ts'

export interface TableRows {
  readonly places: ColumnPlaces
  /**
   * The rows in order. The field of a row's column `c` is `bytes` from `bounds[at]` to `bounds[at + 1]`, where `at` is
   * `2 * (row * columns + places.c)`; rows whose line is `refusedRow` are to be passed over. A batch is overwritten by the next.
   */
  batches(): AsyncGenerator<Scan>
}

export interface ReadOptions {
  readonly handle: FileHandle
  readonly findings: TableFindings
  /** Called a batch, with the bytes of the file read so far. */
  readonly onBytes: (bytes: number) => void
  readonly signal?: AbortSignal | undefined
  /** How much of the file is read at a time. */
  readonly blockBytes?: number
}

const headerColumnsMax = 64

/** Opens a table; undefined, with findings, where its header can't be used. */
export async function openTableRows(options: ReadOptions): Promise<TableRows | undefined> {
  const window = await openWindow(options.handle, options.blockBytes)
  const header = await scanHeader(window)
  const places = header && readPlaces(header, options.findings)
  if (header === undefined || places === undefined) {
    if (header === undefined) options.findings.add('table-header', 1, () => ({ message: 'the file is empty' }))
    return undefined
  }
  return { places, batches: () => batchesOf({ ...options, window, places, header }) }
}

interface Header {
  readonly names: readonly string[]
  /** The scan, which stands after the header. */
  readonly scan: Scan
}

/** Fills the window and scans the first row, of whatever columns; undefined where there is none. */
async function scanHeader(window: TextWindow): Promise<Header | undefined> {
  const scan = openScan({ bytes: window.bytes, columns: headerColumnsMax, rowsMax: 1 })
  do {
    await window.refill(0)
    scanBatch(scan, { to: window.length, last: window.ended })
  } while (!window.ended && scan.rows + scan.faults.length === 0)
  if (scan.rows + scan.faults.length === 0) return undefined
  const fields = scan.faults[0]?.fields ?? headerColumnsMax
  const names = Array.from({ length: Math.min(fields, headerColumnsMax) }, (_, i) =>
    window.bytes.toString('utf8', scan.bounds[2 * i], scan.bounds[2 * i + 1]),
  )
  return { names, scan }
}

function readPlaces({ names, scan }: Header, findings: TableFindings): ColumnPlaces | undefined {
  const [fault] = scan.faults
  const { places, faults } = readHeader(names)
  if (fault && fault.flaw !== 'columns' && fault.flaw !== 'nul') {
    findings.add('table-header', 1, () => ({
      message: 'the first line cannot be read as CSV',
      limit: tableColumns.join(','),
    }))
    return undefined
  }
  for (const text of faults) findings.add('table-header', 1, () => text)
  return faults.length > 0 ? undefined : places
}

type Reading = ReadOptions & { readonly window: TextWindow; readonly places: ColumnPlaces; readonly header: Header }

async function* batchesOf(reading: Reading): AsyncGenerator<Scan> {
  const { window, findings, header, signal } = reading
  const scan = openScan({ bytes: window.bytes, columns: header.names.length })
  const check = openRowCheck(reading.places, findings)
  scan.at = header.scan.at
  scan.line = header.scan.line
  for (;;) {
    signal?.throwIfAborted()
    const full = scanBatch(scan, { to: window.length, last: window.ended })
    check.check(scan)
    yield scan
    reading.onBytes(window.readBytes)
    if (full) continue
    if (window.ended) break
    await window.refill(scan.at)
    scan.at = 0
  }
  if (scan.line === header.scan.line) {
    findings.add('table-row', scan.line, () => ({
      message: 'the table has a header and no rows',
    }))
  }
  check.conclude()
}
