// The same rows put into SQLite with nothing around it: one prepared insert, one transaction a batch, WAL, synchronous FULL.
import Sqlite from 'better-sqlite3'

export interface PlainInserts {
  /** Inserts batch after batch, each durable before the next; returns ms. */
  insert(batches: readonly (readonly Uint8Array[])[]): number
  close(): void
}

export function openPlainInserts(file: string): PlainInserts {
  const database = new Sqlite(file)
  database.pragma('journal_mode = WAL')
  database.pragma('synchronous = FULL')
  database.exec('create table rows (seq integer primary key, leaf blob not null, bytes blob not null)')
  const one = database.prepare<[Uint8Array, Uint8Array]>('insert into rows (leaf, bytes) values (?, ?)')
  const leaf = Buffer.alloc(32, 7)
  const all = database.transaction((rows: readonly Uint8Array[]) => {
    for (const bytes of rows) one.run(leaf, bytes)
  })
  return {
    insert(batches) {
      const startMs = performance.now()
      for (const rows of batches) all.immediate(rows)
      return performance.now() - startMs
    },
    close: () => database.close(),
  }
}
