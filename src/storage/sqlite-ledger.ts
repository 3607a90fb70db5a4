// The ledgers in one SQLite file of their own: raw statements, every call one short synchronous transaction. A transaction of the
// catalogue, which waits between its statements, can therefore never take an append in with it.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import type Sqlite from 'better-sqlite3'
import { assert } from '../kernel/assert.ts'
import { toDigest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database, LedgerBatch, LedgerHead } from './port.ts'
import { openSqliteFile, sqliteProblem } from './sqlite-file.ts'

type Ledger = Pick<Database, 'appendLedger' | 'readLedger' | 'ledgerHead' | 'ledgerHeads' | 'searchLedger'> & {
  close(): void
}

const schemaNumber = 1
// An entry's row id is its run's key × 2^32 + its index: one B-tree in run order, no second index. Row ids stay exact in a double.
const indicesPerRun = 2 ** 32
const runKeysMax = 2 ** 21
// About 10 ms of scanning; between two slices other work gets its turn.
const searchSliceRows = 16_384

const forbid = (table: string, edit: string, when = '') =>
  `create trigger ${table}No${edit} before ${edit} on ${table} ${when}
   begin select raise(abort, 'the ledger is append-only'); end;`

// The insert triggers are for `insert or replace`, whose deletions fire none.
const schema = `
  create table runs (key integer primary key, runId text not null unique) strict;
  create table entries (seq integer primary key, leaf blob not null, bytes blob not null) strict;
  create table heads (seq integer primary key, epoch integer not null, root blob not null) strict;
  ${['runs', 'entries', 'heads'].map((table) => forbid(table, 'update') + forbid(table, 'delete')).join('\n')}
  ${forbid('runs', 'insert', 'when exists (select 1 from runs where key = new.key or runId = new.runId)')}
  ${forbid('entries', 'insert', 'when exists (select 1 from entries where seq = new.seq)')}
  ${forbid('heads', 'insert', 'when exists (select 1 from heads where seq = new.seq)')}
`

function ensureSchema(file: Sqlite.Database): void {
  const found = Number(file.pragma('user_version', { simple: true }))
  if (found > schemaNumber) {
    throw new Problem('data-format', 'the ledger has a newer schema', { measured: found, limit: schemaNumber })
  }
  if (found === schemaNumber) return
  file.transaction(() => {
    file.exec(schema)
    file.pragma(`user_version = ${schemaNumber}`)
  })()
}

function prepareStatements(file: Sqlite.Database) {
  return {
    run: file.prepare<[string], { key: number }>('select key from runs where runId = ?'),
    addRun: file.prepare<[string]>('insert into runs (runId) values (?)'),
    addEntry: file.prepare<[number, Uint8Array, Uint8Array]>('insert into entries (seq, leaf, bytes) values (?, ?, ?)'),
    addHead: file.prepare<[number, number, Uint8Array]>('insert into heads (seq, epoch, root) values (?, ?, ?)'),
    lastHead: file.prepare<[number, number], { seq: number; epoch: number; root: Buffer }>(
      'select seq, epoch, root from heads where seq >= ? and seq < ? order by seq desc limit 1',
    ),
    headFrom: file.prepare<[number, number], { seq: number; root: Buffer }>(
      'select seq, root from heads where seq >= ? and seq < ? order by seq limit 1',
    ),
    heads: file.prepare<[number, number], { seq: number; root: Buffer }>(
      'select seq, root from heads where seq >= ? and seq < ? order by seq',
    ),
    entries: file.prepare<[number, number, number], { seq: number; leaf: Buffer; bytes: Buffer }>(
      'select seq, leaf, bytes from entries where seq >= ? and seq < ? order by seq limit ?',
    ),
    holding: file
      .prepare<[number, number, Uint8Array, number], number>(
        'select seq from entries where seq >= ? and seq < ? and instr(bytes, ?) > 0 order by seq limit ?',
      )
      .pluck(),
  }
}
type Statements = ReturnType<typeof prepareStatements>

function runStart(statements: Statements, runId: string): number | undefined {
  const row = statements.run.get(runId)
  return row === undefined ? undefined : row.key * indicesPerRun
}

function addRun(statements: Statements, runId: string): number {
  const key = Number(statements.addRun.run(runId).lastInsertRowid)
  assert(key < runKeysMax, 'run keys stay exact in row ids')
  return key * indicesPerRun
}

function appendBatch(statements: Statements, batch: LedgerBatch): void {
  const start = runStart(statements, batch.runId) ?? addRun(statements, batch.runId)
  const last = statements.lastHead.get(start, start + indicesPerRun)
  const next = last === undefined ? 0 : last.seq - start
  if (last !== undefined && batch.epoch < last.epoch) {
    throw new Problem('run-held-elsewhere', `run ${batch.runId} was taken over`, {
      measured: batch.epoch,
      limit: last.epoch,
    })
  }
  if (batch.firstIndex !== next) {
    throw new Problem('run-held-elsewhere', `the next index of run ${batch.runId} is another`, {
      measured: batch.firstIndex,
      limit: next,
    })
  }
  const size = next + batch.entries.length
  assert(size > next && size < indicesPerRun, 'a batch has entries, and a run fewer than 2^32')
  batch.entries.forEach(({ leaf, bytes }, i) => {
    statements.addEntry.run(start + next + i, leaf, bytes)
  })
  statements.addHead.run(start + size, batch.epoch, Buffer.from(batch.root, 'hex'))
}

const toHead = (start: number, { seq, root }: { seq: number; root: Buffer }): LedgerHead => ({
  treeSize: seq - start,
  root: toDigest(root.toString('hex')),
})

function prepareReading(statements: Statements): Omit<Ledger, 'appendLedger' | 'close'> {
  return {
    async readLedger({ runId, from, count }) {
      const start = runStart(statements, runId)
      if (start === undefined) return []
      const rows = statements.entries.all(start + from, start + indicesPerRun, count)
      return rows.map(({ seq, leaf, bytes }) => ({ index: seq - start, bytes, leaf }))
    },
    async ledgerHead(runId, index) {
      const start = runStart(statements, runId)
      if (start === undefined) return undefined
      const [from, end] = [start + (index ?? 0) + 1, start + indicesPerRun]
      const row = index === undefined ? statements.lastHead.get(from, end) : statements.headFrom.get(from, end)
      return row === undefined ? undefined : toHead(start, row)
    },
    async ledgerHeads(runId) {
      const start = runStart(statements, runId)
      if (start === undefined) return []
      return statements.heads.all(start, start + indicesPerRun).map((row) => toHead(start, row))
    },
    async searchLedger({ runId, text, count }) {
      const start = runStart(statements, runId)
      const last = start === undefined ? undefined : statements.lastHead.get(start, start + indicesPerRun)
      if (start === undefined || last === undefined) return []
      const needle = Buffer.from(text)
      const found: number[] = []
      for (let from = start; from < last.seq && found.length < count; from += searchSliceRows) {
        const end = Math.min(from + searchSliceRows, last.seq)
        found.push(...statements.holding.all(from, end, needle, count - found.length).map((seq) => seq - start))
        await turnOfTheLoop()
      }
      return found
    },
  }
}

/** Opens or creates the ledgers' file. Problems: `data-format`, `data-unusable`, `data-full`. */
export function openSqliteLedger(path: string): Ledger {
  const file = openSqliteFile(path)
  try {
    ensureSchema(file)
  } catch (error) {
    file.close()
    throw sqliteProblem(error, { otherwise: 'data-unusable', file: path })
  }
  const statements = prepareStatements(file)
  const appendAll = file.transaction((batches: readonly LedgerBatch[]) => {
    for (const batch of batches) appendBatch(statements, batch)
  })
  return {
    ...prepareReading(statements),
    async appendLedger(batches) {
      try {
        appendAll.immediate(batches)
      } catch (error) {
        throw sqliteProblem(error, { otherwise: 'ledger-unavailable' })
      }
    },
    close: () => file.close(),
  }
}
