// What is particular to SQLite. The rest is the contract in tests/contract/database.suite.ts.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import Sqlite from 'better-sqlite3'
import { sql } from 'kysely'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { type SchemaStep, schemaSteps } from './migrations.ts'
import { openSqlite } from './sqlite.ts'

let folder: string

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-sqlite-'))
})
afterEach(() => rm(folder, { recursive: true }))

function change(name: string, statement: string): void {
  const file = new Sqlite(join(folder, name))
  file.exec(statement)
  file.close()
}

it('opens both files with a write-ahead log', async () => {
  const database = await openSqlite({ folder })
  for (const name of ['catalogue.sqlite', 'ledger.sqlite']) {
    const file = new Sqlite(join(folder, name), { readonly: true })
    expect(file.pragma('journal_mode', { simple: true }), name).toBe('wal')
    file.close()
  }
  await database.close()
})

it('syncs every commit of the catalogue', async () => {
  const database = await openSqlite({ folder })
  const { rows } = await sql<{ synchronous: number }>`pragma synchronous`.execute(database.catalogue)
  // https://www.sqlite.org/pragma.html#pragma_synchronous: 2 is FULL.
  expect(rows).toEqual([{ synchronous: 2 }])
  await database.close()
})

it.each(['catalogue.sqlite', 'ledger.sqlite'])('says so when %s is no database', async (name) => {
  await writeFile(join(folder, name), 'not a database, but a text of some length '.repeat(500))
  await expect(openSqlite({ folder })).rejects.toMatchObject({
    code: 'data-unusable',
    place: { file: join(folder, name) },
  })
})

it.each([
  ['ledger.sqlite', 'pragma user_version = 2'],
  ['catalogue.sqlite', `update meta set value = '99' where key = 'schema'`],
])('refuses %s of a newer Rollcall', async (name, statement) => {
  await (await openSqlite({ folder })).close()
  change(name, statement)
  await expect(openSqlite({ folder })).rejects.toMatchObject({ code: 'data-format' })
})

it('copies the catalogue as it was before it changes the schema of one that was in use', async () => {
  const database = await openSqlite({ folder })
  const line = { line: 'l1', revision: 1, digest: 'd', content: '{}', storedAtMs: 1 }
  await database.catalogue.insertInto('lines').values(line).execute()
  await database.close()
  const dropLines: SchemaStep = ({ schema }) => schema.dropTable('lines').execute()
  await (await openSqlite({ folder, steps: [...schemaSteps, dropLines] })).close()
  const copy = new Sqlite(join(folder, `catalogue.schema-${schemaSteps.length}.sqlite`), { readonly: true })
  expect(copy.prepare('select * from lines').all()).toEqual([line])
  copy.close()
})
