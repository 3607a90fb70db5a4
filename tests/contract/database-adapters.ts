// The engines that the database contract is run on. A new engine adds itself here.
import { join } from 'node:path'
import Sqlite from 'better-sqlite3'
import { type Database, openSqlite } from '../../src/storage/index.ts'

export interface DatabaseAdapter {
  readonly name: string
  /** Opens the database that lives at a folder's path, the same one each time. */
  open(where: string): Promise<Database>
  /** Tries to run a statement on the ledgers past the port, and throws what the engine says. */
  editLedger(where: string, statement: string): void
}

const sqlite: DatabaseAdapter = {
  name: 'sqlite',
  open: (where) => openSqlite({ folder: where }),
  editLedger(where, statement) {
    const file = new Sqlite(join(where, 'ledger.sqlite'))
    try {
      file.exec(statement)
    } finally {
      file.close()
    }
  },
}

export const databaseAdapters: readonly DatabaseAdapter[] = [sqlite]

export function adapterNamed(name: string): DatabaseAdapter {
  const adapter = databaseAdapters.find((each) => each.name === name)
  if (adapter === undefined) throw new Error(`no adapter ${name}`)
  return adapter
}
