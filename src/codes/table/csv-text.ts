// Streams CSV of any columns: the names of its header, then rows batch by batch as places in a window of UTF-8 bytes.
import type { FileHandle } from 'node:fs/promises'
import { openScan, type RowFlaw, type Scan, scanBatch } from './csv-scan.ts'
import { openWindow, type TextWindow } from './csv-window.ts'

export interface CsvOptions {
  readonly handle: FileHandle
  /** Called a batch, with the bytes of the file read so far. */
  readonly onBytes: (bytes: number) => void
  readonly signal?: AbortSignal | undefined
  /** How much of the file is read at a time. */
  readonly blockBytes?: number | undefined
}

export interface CsvText {
  /** Of the header, as they stand there. */
  readonly names: readonly string[]
  /** Why the header cannot be read as CSV. */
  readonly flaw?: RowFlaw
  /** The line after the header. */
  readonly firstLine: number
  /** The rows in order, and the faults of those that cannot be read. A batch is overwritten by the next. */
  batches(): AsyncGenerator<Scan>
}

const headerColumnsMax = 64

/** Opens a CSV file; undefined where it is empty. The file must not change meanwhile. */
export async function openCsv(options: CsvOptions): Promise<CsvText | undefined> {
  const window = await openWindow(options.handle, options.blockBytes)
  const scan = openScan({ bytes: window.bytes, columns: headerColumnsMax, rowsMax: 1 })
  do {
    await window.refill(0)
    scanBatch(scan, { to: window.length, last: window.ended })
  } while (!window.ended && scan.rows + scan.faults.length === 0)
  if (scan.rows + scan.faults.length === 0) return undefined
  const [fault] = scan.faults
  const fields = fault?.fields ?? headerColumnsMax
  const names = Array.from({ length: Math.min(fields, headerColumnsMax) }, (_, i) =>
    window.bytes.toString('utf8', scan.bounds[2 * i], scan.bounds[2 * i + 1]),
  )
  return {
    names,
    // A header is no row of so many columns, and its NUL bytes are told of by the names that hold them.
    ...(fault && fault.flaw !== 'columns' && fault.flaw !== 'nul' ? { flaw: fault.flaw } : {}),
    firstLine: scan.line,
    batches: () => batchesOf({ ...options, window, columns: names.length, header: scan }),
  }
}

type Reading = CsvOptions & { readonly window: TextWindow; readonly columns: number; readonly header: Scan }

async function* batchesOf({ window, columns, header, signal, onBytes }: Reading): AsyncGenerator<Scan> {
  const scan = openScan({ bytes: window.bytes, columns })
  scan.at = header.at
  scan.line = header.line
  for (;;) {
    signal?.throwIfAborted()
    const full = scanBatch(scan, { to: window.length, last: window.ended })
    yield scan
    onBytes(window.readBytes)
    if (full) continue
    if (window.ended) return
    await window.refill(scan.at)
    scan.at = 0
  }
}
