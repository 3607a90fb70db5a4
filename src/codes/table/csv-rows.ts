// Streams a code table: checked rows batch by batch, as places in a window of UTF-8 bytes, with every finding by row number.
import { type ColumnPlaces, readHeader, tableColumns } from './csv-header.ts'
import type { Scan } from './csv-scan.ts'
import { type CsvOptions, type CsvText, openCsv } from './csv-text.ts'
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

export interface ReadOptions extends CsvOptions {
  readonly findings: TableFindings
}

/** Opens a table; undefined, with findings, where its header can't be used. */
export async function openTableRows(options: ReadOptions): Promise<TableRows | undefined> {
  const csv = await openCsv(options)
  const places = csv && readPlaces(csv, options.findings)
  if (csv === undefined || places === undefined) {
    if (csv === undefined) options.findings.add('table-header', 1, () => ({ message: 'the file is empty' }))
    return undefined
  }
  return { places, batches: () => batchesOf(options, csv, places) }
}

function readPlaces({ names, flaw }: CsvText, findings: TableFindings): ColumnPlaces | undefined {
  const { places, faults } = readHeader(names)
  if (flaw) {
    findings.add('table-header', 1, () => ({
      message: 'the first line cannot be read as CSV',
      limit: tableColumns.join(','),
    }))
    return undefined
  }
  for (const text of faults) findings.add('table-header', 1, () => text)
  return faults.length > 0 ? undefined : places
}

async function* batchesOf({ findings }: ReadOptions, csv: CsvText, places: ColumnPlaces): AsyncGenerator<Scan> {
  const check = openRowCheck(places, findings)
  let line = csv.firstLine
  for await (const scan of csv.batches()) {
    check.check(scan)
    yield scan
    line = scan.line
  }
  if (line === csv.firstLine) {
    findings.add('table-row', line, () => ({
      message: 'the table has a header and no rows',
    }))
  }
  check.conclude()
}
