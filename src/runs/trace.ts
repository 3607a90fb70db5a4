// Where a code went: every label of every run that carried it, with what was laid and how to prove it.
import { decodeEntry } from '../ledger/index.ts'
import type { Database } from '../storage/port.ts'
import type { Run } from './run.ts'
import { ticketAt } from './state.ts'
import type { Answer } from './wire.ts'

export interface Sighting {
  readonly runId: string
  readonly ticket: string
  readonly roll: string
  readonly pass: number
  readonly atMs: number
  readonly positionMm: number
  readonly laid?: string
  readonly answer: Answer
}

const hitsMax = 10_000

/**
 * Finds a code in a run: the answers that name it, and those to labels that were read so but that no job knew. Cost: one scan of the
 * run's entries inside the database (grows with the ledger; nothing is held in memory).
 */
export async function traceCode(database: Database, run: Run, text: string): Promise<readonly Sighting[]> {
  const quoted = `"text":${JSON.stringify(text)}`
  const indices = await database.searchLedger({ runId: run.runId, text: quoted, count: hitsMax })
  const frames = new Map<number, Set<number>>()
  for (const index of indices) {
    const [row] = await database.readLedger({ runId: run.runId, from: index, count: 1 })
    const entry = row && decodeEntry(row.bytes)
    if (entry?.type === 'frame' || entry?.type === 'reads') {
      const cells = cellsThatRead(run, entry.body.reads ?? [], text)
      const known = frames.get(entry.body.frame) ?? new Set()
      frames.set(entry.body.frame, new Set([...known, ...cells]))
    }
  }
  const found: Sighting[] = []
  for (const [frame, cells] of frames) {
    const record = run.state.frames.get(frame)
    const answers = (await run.answersOf(frame)) ?? []
    for (const answer of answers) {
      const mine = answer.identity ? answer.identity.text === text : cells.has(answer.cell)
      if (!mine || !record) continue
      const ordinal = run.state.cells.findIndex((cell) => cell.cell === answer.cell)
      const laid = record.laid?.[ordinal]
      const [row] = await database.readLedger({ runId: run.runId, from: answer.ledgerIndex, count: 1 })
      found.push({
        runId: run.runId,
        ticket: ticketAt(run.state, record.entryIndex).ticket,
        roll: ticketAt(run.state, record.entryIndex).roll,
        pass: run.state.ticket.pass,
        atMs: row ? decodeEntry(row.bytes).atMs : 0,
        positionMm: record.positionUm / 1000,
        ...(laid ? { laid } : {}),
        answer,
      })
    }
  }
  // Pictures are read in any order, so the entries that name a code are in none.
  return found.toSorted((a, b) => a.answer.ledgerIndex - b.answer.ledgerIndex)
}

function cellsThatRead(
  run: Run,
  reads: readonly { cell?: number | undefined; lane?: number | undefined; text?: string | undefined }[],
  text: string,
) {
  const mine = reads.filter((read) => read.text === text)
  return run.state.cells
    .filter((cell) =>
      mine.some((read) => (read.cell ?? cell.cell) === cell.cell && (read.lane ?? cell.lane) === cell.lane),
    )
    .map((cell) => cell.cell)
}
