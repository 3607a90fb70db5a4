// What a label is called: the identity that an answer gave it, or the text that was read where no job knew it. Read from the ledger when
// asked for; the last few thousand are kept.
import { decodeEntry, type EntryBodies } from '../../ledger/index.ts'
import type { Database } from '../../storage/port.ts'
import type { WebFold } from './fold.ts'

export interface LabelName {
  readonly text: string
  readonly identity?: NonNullable<EntryBodies['answer']['identity']>
}

export type NameOf = (place: number, ordinal: number) => Promise<LabelName | undefined>

type Reads = NonNullable<EntryBodies['frame']['reads']>

const keptMax = 4_096

/** What was read at a cell: its own reads, its lane's, and those of the whole frame; several texts stand side by side. */
export function textAt(reads: Reads, { cell, lane }: { readonly cell: number; readonly lane: number }): string {
  const mine = reads.filter((read) => (read.cell ?? cell) === cell && (read.lane ?? lane) === lane)
  return [...new Set(mine.flatMap(({ text }) => (text === undefined ? [] : [text])))].join(' | ')
}

export function openNames(database: Pick<Database, 'readLedger'>, runId: string, fold: WebFold): NameOf {
  const kept = new Map<number, LabelName | undefined>()
  const entryAt = async (index: number) => {
    const [row] = await database.readLedger({ runId, from: index, count: 1 })
    return row && decodeEntry(row.bytes)
  }
  const find = async (place: number, ordinal: number): Promise<LabelName | undefined> => {
    const namedAt = fold.labels.namedAt(place, ordinal)
    if (namedAt !== undefined) {
      const entry = await entryAt(namedAt)
      const identity = entry?.type === 'answer' ? entry.body.identity : undefined
      return identity && { text: identity.text, identity }
    }
    const readsAt = fold.readsAt(place)
    const entry = readsAt === undefined ? undefined : await entryAt(readsAt)
    const reads = entry?.type === 'frame' || entry?.type === 'reads' ? (entry.body.reads ?? []) : []
    const cell = fold.cells[ordinal]
    const text = cell ? textAt(reads, cell) : ''
    return text === '' ? undefined : { text }
  }
  return async (place, ordinal) => {
    const key = place * fold.cells.length + ordinal
    if (kept.has(key)) return kept.get(key)
    const name = await find(place, ordinal)
    if (kept.size >= keptMax) kept.delete(kept.keys().next().value ?? -1)
    kept.set(key, name)
    return name
  }
}
