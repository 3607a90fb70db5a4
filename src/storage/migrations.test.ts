// The steps of the schema: all of them or none, and never those of a newer program.
import Sqlite from 'better-sqlite3'
import { Kysely, SqliteDialect } from 'kysely'
import { beforeEach, expect, it } from 'vitest'
import { migrate, type SchemaStep } from './migrations.ts'
import type { Tables } from './port.ts'

let file: Sqlite.Database
let catalogue: Kysely<Tables>
let backedUp: number[]

const backUp = async (taken: number) => {
  backedUp.push(taken)
}
const tables = () => file.prepare(`select name from sqlite_master where type = 'table' order by name`).pluck().all()
const addTable =
  (name: string): SchemaStep =>
  async ({ schema }) => {
    await schema.createTable(name).addColumn('id', 'integer').execute()
  }

beforeEach(() => {
  file = new Sqlite(':memory:')
  catalogue = new Kysely<Tables>({ dialect: new SqliteDialect({ database: file }) })
  backedUp = []
})

it('creates every table of the port in a new catalogue, without a back-up', async () => {
  await migrate(catalogue, { engine: 'sqlite', backUp })
  const created = tables().filter((name) => !String(name).startsWith('sqlite_'))
  expect(created).toEqual(
    [
      'acts',
      'keys',
      'layerSums',
      'lines',
      'meta',
      'packageVersions',
      'packages',
      'runs',
      'tickets',
      'versions',
      'work',
    ].sort(),
  )
  expect(backedUp).toEqual([])
})

it('changes nothing in a catalogue that is up to date', async () => {
  await migrate(catalogue, { engine: 'sqlite', backUp })
  const before = file.serialize()
  await migrate(catalogue, { engine: 'sqlite', backUp })
  expect(file.serialize().equals(before)).toBe(true)
})

it('takes only the steps that are missing, after a back-up', async () => {
  const [one, two, three] = ['one', 'two', 'three'].map(addTable) as [SchemaStep, SchemaStep, SchemaStep]
  await migrate(catalogue, { engine: 'sqlite', backUp, steps: [one] })
  await migrate(catalogue, { engine: 'sqlite', backUp, steps: [one, two, three] })
  expect(tables()).toEqual(['meta', 'one', 'three', 'two'])
  expect(backedUp).toEqual([1])
})

it('leaves nothing of a migration that fails half-way', async () => {
  const fail: SchemaStep = async () => {
    throw new Error('step failed')
  }
  await migrate(catalogue, { engine: 'sqlite', backUp, steps: [addTable('one')] })
  const steps = [addTable('one'), addTable('two'), fail]
  await expect(migrate(catalogue, { engine: 'sqlite', backUp, steps })).rejects.toThrow('step failed')
  expect(tables()).toEqual(['meta', 'one'])
  await migrate(catalogue, { engine: 'sqlite', backUp, steps: steps.slice(0, 2) })
  expect(tables()).toEqual(['meta', 'one', 'two'])
})

it('changes nothing when the back-up fails', async () => {
  await migrate(catalogue, { engine: 'sqlite', backUp, steps: [addTable('one')] })
  const failing = async () => {
    throw new Error('no room for a copy')
  }
  const steps = [addTable('one'), addTable('two')]
  await expect(migrate(catalogue, { engine: 'sqlite', backUp: failing, steps })).rejects.toThrow('no room')
  expect(tables()).toEqual(['meta', 'one'])
})

it('refuses a catalogue with steps that it does not know', async () => {
  await migrate(catalogue, { engine: 'sqlite', backUp, steps: [addTable('one'), addTable('two')] })
  await expect(migrate(catalogue, { engine: 'sqlite', backUp, steps: [addTable('one')] })).rejects.toMatchObject({
    code: 'data-format',
    place: { measured: 2, limit: 1 },
  })
})

it('finds the next work without sorting or scanning', async () => {
  await migrate(catalogue, { engine: 'sqlite', backUp })
  const plan = file
    .prepare<[], { detail: string }>(
      `explain query plan select id from work where state = 'waiting' and kind = 'read' and dueAtMs <= 5
       order by priority, createdAtMs, id limit 4`,
    )
    .all()
    .map(({ detail }) => detail)
  expect(plan).toEqual([
    expect.stringMatching(/^SEARCH work USING COVERING INDEX workByTurn \(state=\? AND kind=\?\)$/),
  ])
})
