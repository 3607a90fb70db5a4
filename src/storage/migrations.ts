// The catalogue's schema as numbered steps in kysely's schema builder, so that every engine gets the same tables. All missing steps
// run in one transaction (kysely's own migrator runs them outside of one on SQLite), and `meta` says how many have been taken.
import { type ColumnDefinitionBuilder, type Kysely, sql, type Transaction } from 'kysely'
import { Problem } from '../kernel/problem.ts'
import type { Database, Tables } from './port.ts'

export type Engine = Database['engine']
type Schema = Transaction<Tables>['schema']

/** One numbered change of the schema. A step that was released is never edited. */
export type SchemaStep = (catalogue: Transaction<Tables>, engine: Engine) => Promise<void>

const required = (column: ColumnDefinitionBuilder) => column.notNull()

async function createPackages(schema: Schema): Promise<void> {
  await schema
    .createTable('packages')
    .addColumn('job', 'text', required)
    .addColumn('package', 'integer', required)
    .addColumn('title', 'text', required)
    .addColumn('digest', 'text', required)
    .addColumn('manifest', 'text', required)
    .addColumn('report', 'text', required)
    .addColumn('codeIndex', 'text')
    .addColumn('bytes', 'bigint', required)
    .addColumn('publishedAtMs', 'bigint', required)
    .addColumn('by', 'text', required)
    .addPrimaryKeyConstraint('packagesKey', ['job', 'package'])
    .execute()
  await schema
    .createTable('versions')
    .addColumn('job', 'text', required)
    .addColumn('design', 'text', required)
    .addColumn('version', 'integer', required)
    .addColumn('digest', 'text', required)
    .addColumn('content', 'text', required)
    .addColumn('firstPackage', 'integer', required)
    .addColumn('releasedAtMs', 'bigint')
    .addColumn('withdrawnAtMs', 'bigint')
    .addPrimaryKeyConstraint('versionsKey', ['job', 'design', 'version'])
    .execute()
}

/** Its references are checked at the commit, so that a publication may insert in any order. */
async function createPackageVersions(schema: Schema): Promise<void> {
  await schema
    .createTable('packageVersions')
    .addColumn('job', 'text', required)
    .addColumn('package', 'integer', required)
    .addColumn('design', 'text', required)
    .addColumn('version', 'integer', required)
    .addPrimaryKeyConstraint('packageVersionsKey', ['job', 'package', 'design', 'version'])
    .addForeignKeyConstraint(
      'packageVersionsPackage',
      ['job', 'package'],
      'packages',
      ['job', 'package'],
      (constraint) => constraint.deferrable().initiallyDeferred(),
    )
    .addForeignKeyConstraint(
      'packageVersionsVersion',
      ['job', 'design', 'version'],
      'versions',
      ['job', 'design', 'version'],
      (constraint) => constraint.deferrable().initiallyDeferred(),
    )
    .execute()
  await schema
    .createIndex('packageVersionsByVersion')
    .on('packageVersions')
    .columns(['job', 'design', 'version'])
    .execute()
}

async function createActs(schema: Schema, engine: Engine): Promise<void> {
  await schema
    .createTable('acts')
    .addColumn('id', engine === 'sqlite' ? 'integer' : 'bigint', (column) =>
      engine === 'sqlite' ? column.primaryKey().autoIncrement() : column.primaryKey().generatedAlwaysAsIdentity(),
    )
    .addColumn('atMs', 'bigint', required)
    .addColumn('act', 'text', required)
    .addColumn('by', 'text', required)
    .addColumn('why', 'text', required)
    .addColumn('job', 'text', required)
    .addColumn('package', 'integer')
    .addColumn('design', 'text')
    .addColumn('version', 'integer')
    .execute()
  await schema.createIndex('actsByJob').on('acts').columns(['job', 'id']).execute()
}

async function createRevisions(
  schema: Schema,
  { table, name }: { table: 'lines' | 'tickets'; name: string },
): Promise<void> {
  await schema
    .createTable(table)
    .addColumn(name, 'text', required)
    .addColumn('revision', 'integer', required)
    .addColumn('digest', 'text', required)
    .addColumn('content', 'text', required)
    .addColumn('storedAtMs', 'bigint', required)
    .addPrimaryKeyConstraint(`${table}Key`, [name, 'revision'])
    .execute()
}

async function createRuns(schema: Schema): Promise<void> {
  await schema
    .createTable('runs')
    .addColumn('runId', 'text', (column) => column.notNull().primaryKey())
    .addColumn('ticket', 'text', required)
    .addColumn('line', 'text', required)
    .addColumn('state', 'text', required)
    .addColumn('epoch', 'integer', required)
    .addColumn('createdAtMs', 'bigint', required)
    .execute()
  await schema.createIndex('runsByTime').on('runs').columns(['createdAtMs']).execute()
}

async function createWork(schema: Schema): Promise<void> {
  await schema
    .createTable('work')
    .addColumn('id', 'text', (column) => column.notNull().primaryKey())
    .addColumn('kind', 'text', required)
    .addColumn('state', 'text', required)
    .addColumn('priority', 'integer', required)
    .addColumn('payload', 'text', required)
    .addColumn('attempts', 'integer', required)
    .addColumn('attemptsMax', 'integer', required)
    .addColumn('dueAtMs', 'bigint', required)
    .addColumn('progressPpm', 'integer', required)
    .addColumn('progressNote', 'text', required)
    .addColumn('result', 'text')
    .addColumn('error', 'text')
    .addColumn('createdAtMs', 'bigint', required)
    .addColumn('endedAtMs', 'bigint')
    .execute()
  // In the order in which work is handed out, so that the next pieces are found without sorting.
  await schema
    .createIndex('workByTurn')
    .on('work')
    .columns(['state', 'kind', 'priority', 'createdAtMs', 'id', 'dueAtMs'])
    .execute()
  await schema.createIndex('workByDue').on('work').columns(['state', 'dueAtMs', 'priority']).execute()
  await schema.createIndex('workByEnd').on('work').columns(['state', 'kind', 'endedAtMs']).execute()
  await schema.createIndex('workByTime').on('work').columns(['createdAtMs', 'id']).execute()
}

const firstSchema: SchemaStep = async ({ schema }, engine) => {
  await createPackages(schema)
  await createPackageVersions(schema)
  await createActs(schema, engine)
  await createRevisions(schema, { table: 'lines', name: 'line' })
  await createRevisions(schema, { table: 'tickets', name: 'ticket' })
  await createRuns(schema)
  await createWork(schema)
}

const people: SchemaStep = async ({ schema }) => {
  for (const column of ['second', 'key', 'secondKey']) {
    await schema.alterTable('acts').addColumn(column, 'text').execute()
  }
  await schema
    .createTable('keys')
    .addColumn('id', 'text', (column) => column.notNull().primaryKey())
    .addColumn('role', 'text', required)
    .addColumn('person', 'text')
    .addColumn('line', 'text')
    .addColumn('hash', 'text', required)
    .addColumn('createdAtMs', 'bigint', required)
    .addColumn('createdBy', 'text', required)
    .addColumn('expiresAtMs', 'bigint')
    .addColumn('revokedAtMs', 'bigint')
    .addColumn('revokedBy', 'text')
    .execute()
}

const rollsAndSums: SchemaStep = async ({ schema }) => {
  await schema
    .alterTable('runs')
    .addColumn('roll', 'text', (column) => column.notNull().defaultTo(''))
    .execute()
  await schema
    .alterTable('runs')
    .addColumn('pass', 'integer', (column) => column.notNull().defaultTo(1))
    .execute()
  await schema
    .alterTable('runs')
    .addColumn('jobs', 'text', (column) => column.notNull().defaultTo('[]'))
    .execute()
  await schema.createIndex('runsByRoll').on('runs').columns(['roll', 'pass']).execute()
  await schema
    .createTable('layerSums')
    .addColumn('digest', 'text', required)
    .addColumn('curve', 'text', required)
    .addColumn('content', 'text', required)
    .addPrimaryKeyConstraint('layerSumsKey', ['digest', 'curve'])
    .execute()
}

export const schemaSteps: readonly SchemaStep[] = [firstSchema, people, rollsAndSums]

/**
 * Brings the catalogue to the newest schema. `backUp` is awaited before tables that hold data are changed; it gets the number of
 * steps taken so far. Problem `data-format` when the catalogue has steps that this program doesn't know.
 */
export async function migrate(
  catalogue: Kysely<Tables>,
  {
    engine,
    backUp,
    steps = schemaSteps,
  }: { engine: Engine; backUp: (taken: number) => Promise<void>; steps?: readonly SchemaStep[] },
): Promise<void> {
  await catalogue.schema
    .createTable('meta')
    .ifNotExists()
    .addColumn('key', 'text', (column) => column.notNull().primaryKey())
    .addColumn('value', 'text', required)
    .execute()
  const row = await catalogue.selectFrom('meta').select('value').where('key', '=', 'schema').executeTakeFirst()
  const taken = Number(row?.value ?? 0)
  if (taken > steps.length) {
    throw new Problem('data-format', 'the catalogue has a newer schema', { measured: taken, limit: steps.length })
  }
  if (taken === steps.length) return
  if (taken > 0) await backUp(taken)
  await catalogue.transaction().execute(async (transaction) => {
    for (const step of steps.slice(taken)) await step(transaction, engine)
    await transaction
      .insertInto('meta')
      .values({ key: 'schema', value: String(steps.length) })
      .onConflict((conflict) => conflict.column('key').doUpdateSet({ value: sql`excluded.value` }))
      .execute()
  })
}
