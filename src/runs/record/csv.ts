// CSV that a spreadsheet opens without harm and a program reads back: RFC 4180 with a byte-order mark; every text cell is guarded (see
// kernel/spreadsheet-cell.ts), numbers stay numbers.
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import { stringify } from 'csv-stringify'
import { guardCell } from '../../kernel/spreadsheet-cell.ts'

type Cell = string | number | undefined

/** Streams rows as CSV; memory is a few rows. */
export async function* csvText<C extends string>(
  columns: readonly C[],
  rows: AsyncIterable<Readonly<Record<C, Cell>>>,
): AsyncGenerator<string> {
  const stream = stringify({
    header: true,
    columns: [...columns],
    cast: { string: (text, { header }) => (header ? text : guardCell(text)) },
    record_delimiter: 'windows',
    bom: true,
  })
  const filled = pipeline(Readable.from(rows), stream)
  // The reader of the stream sees the failure.
  filled.catch(() => undefined)
  for await (const chunk of stream) yield String(chunk)
  await filled
}
