// The embedded database: `catalogue.sqlite` through kysely and `ledger.sqlite` with its own connection (see sqlite-ledger.ts).
import { existsSync, mkdirSync } from 'node:fs'
import { join } from 'node:path'
import type Sqlite from 'better-sqlite3'
import { Kysely, type SqliteDatabase, SqliteDialect, type SqliteStatement } from 'kysely'
import { migrate, type SchemaStep } from './migrations.ts'
import type { Database, Tables } from './port.ts'
import { isDiskFull, openSqliteFile, sqliteProblem } from './sqlite-file.ts'
import { openSqliteLedger } from './sqlite-ledger.ts'

const statementsKeptMax = 500

function guarded<T>(call: () => T): T {
  try {
    return call()
  } catch (error) {
    if (isDiskFull(error)) throw sqliteProblem(error, { otherwise: 'internal' })
    throw error
  }
}

const noStatement: SqliteStatement = {
  reader: false,
  all: () => [],
  run: () => ({ changes: 0, lastInsertRowid: 0 }),
  iterate: () => [].values(),
}

/** Kysely prepares every statement anew; kept ones save that, and a full disk becomes a `data-full` problem here, for all users. */
function keepingStatements(file: Sqlite.Database): SqliteDatabase {
  const kept = new Map<string, SqliteStatement>()
  const prepare = (sql: string): SqliteStatement => {
    const statement = file.prepare<unknown[]>(sql)
    return {
      reader: statement.reader,
      all: (parameters) => guarded(() => statement.all(...parameters)),
      run: (parameters) => guarded(() => statement.run(...parameters)),
      iterate: (parameters) => statement.iterate(...parameters),
    }
  }
  return {
    close: () => file.close(),
    prepare(sql) {
      // On a full disk SQLite has rolled back by itself; kysely's own rollback would fail and hide the cause.
      if (sql === 'rollback' && !file.inTransaction) return noStatement
      const found = kept.get(sql)
      if (found !== undefined) return found
      if (kept.size >= statementsKeptMax) kept.clear()
      const made = prepare(sql)
      kept.set(sql, made)
      return made
    },
  }
}

async function openCatalogue(folder: string, steps: readonly SchemaStep[] | undefined): Promise<Kysely<Tables>> {
  const path = join(folder, 'catalogue.sqlite')
  const file = openSqliteFile(path)
  const catalogue = new Kysely<Tables>({ dialect: new SqliteDialect({ database: keepingStatements(file) }) })
  const backUp = async (taken: number) => {
    const copy = join(folder, `catalogue.schema-${taken}.sqlite`)
    if (!existsSync(copy)) file.prepare('vacuum into ?').run(copy)
  }
  try {
    await migrate(catalogue, { engine: 'sqlite', backUp, ...(steps === undefined ? {} : { steps }) })
  } catch (error) {
    file.close()
    throw sqliteProblem(error, { otherwise: 'data-unusable', file: path })
  }
  return catalogue
}

/**
 * Opens or creates the embedded database in `folder`, schema up to date. Both files are in WAL mode with synchronous FULL: what a
 * resolved promise reports is on stable storage. One process at a time (see `openDataDirectory`). Problems: `data-format` where a
 * newer Rollcall wrote it, `data-unusable` where it isn't a database, `data-full`. `steps` are the schema's, unless told otherwise.
 */
export async function openSqlite({
  folder,
  steps,
}: {
  folder: string
  steps?: readonly SchemaStep[]
}): Promise<Database> {
  mkdirSync(folder, { recursive: true })
  const ledger = openSqliteLedger(join(folder, 'ledger.sqlite'))
  try {
    const catalogue = await openCatalogue(folder, steps)
    return {
      ...ledger,
      engine: 'sqlite',
      catalogue,
      async close() {
        await catalogue.destroy()
        ledger.close()
      },
    }
  } catch (error) {
    ledger.close()
    throw error
  }
}
