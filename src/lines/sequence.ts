// The sequence: a CSV from the press of position, cell and code in printed order. Read as a stream, with every fault by row number.
import type { FileHandle } from 'node:fs/promises'
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { openCsv, openFindings, readColumns, type TableFindings } from '../codes/index.ts'
import type { Finding } from '../kernel/problem.ts'
import type { SequenceLayout } from './sequence-layout.ts'
import { type SequenceRow, SequenceRows } from './sequence-rows.ts'

export interface SequenceOptions {
  readonly handle: FileHandle
  /** Its name in findings. */
  readonly file: string
  /** Of the job's frame; absent: cells are not held against it. */
  readonly layout?: SequenceLayout | undefined
  /** Called for each sound row, in order; the object is used again for the next one. */
  readonly take?: ((row: SequenceRow) => void) | undefined
  readonly onBytes?: ((bytes: number) => void) | undefined
  readonly signal?: AbortSignal | undefined
}

export interface SequenceOutcome {
  /** Sound ones. */
  readonly rows: number
  readonly positions: number
  /** The first 100 of each kind, and one that counts the rest of the kind. */
  readonly findings: readonly Finding[]
  readonly findingsTotal: number
}

/** The event loop gets its turn after so many rows, so that a running line's answers wait for a few of them only. */
const rowsPerTurn = 512

const columns = ['position', 'cell', 'code'] as const
const wanted = 'position,code and, if wanted, cell, in any order'

/** Reads a sequence to its end. Memory: one block of the file, whatever its size. Throws only what `take` or the signal throws. */
export async function readSequence(options: SequenceOptions): Promise<SequenceOutcome> {
  const { handle, file, signal, onBytes = () => undefined } = options
  const findings = openFindings(file)
  const csv = await openCsv({ handle, onBytes, signal })
  if (!csv) findings.add('sequence-header', 1, () => ({ message: 'the file is empty' }))
  const { places, faults } = readColumns(csv?.names ?? [], { columns, required: ['position', 'code'], wanted })
  if (!csv || csv.flaw || faults.length > 0) {
    if (csv?.flaw)
      findings.add('sequence-header', 1, () => ({ message: 'the first line cannot be read as CSV', limit: wanted }))
    else if (csv) for (const fault of faults) findings.add('sequence-header', 1, () => fault)
    return outcome({ rows: 0, positions: 0 }, findings)
  }
  const rows = new SequenceRows({ places, findings, layout: options.layout, take: options.take })
  let seen = 0
  for await (const scan of csv.batches()) {
    rows.begin(scan)
    seen += scan.rows + scan.faults.length
    for (let from = 0; from < scan.rows; from += rowsPerTurn) {
      rows.takeFrom(scan, { from, to: Math.min(from + rowsPerTurn, scan.rows) })
      await turnOfTheLoop()
    }
  }
  if (seen === 0)
    findings.add('sequence-row', csv.firstLine, () => ({ message: 'the sequence has a header and no rows' }))
  return outcome(rows.counts(), findings)
}

const outcome = (counts: { rows: number; positions: number }, findings: TableFindings): SequenceOutcome => ({
  ...counts,
  findings: findings.list(),
  findingsTotal: findings.count(),
})
