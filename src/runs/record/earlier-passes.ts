// The runs that passed over the same roll before this one, for the record of a later pass: their own records say what they laid.
import type { Database } from '../../storage/port.ts'
import type { RollRecord } from './roll-record.ts'

export interface EarlierPassRow {
  readonly pass: number
  readonly runId: string
  readonly ticket: string
  readonly line: string
  readonly state: string
  readonly openedAtMs: number
  readonly entries: number
  /** Of its ledger as it is committed now; that of a sealed run stays. */
  readonly root: string
}

async function rowOf(
  database: Database,
  run: { readonly runId: string; readonly createdAtMs: number } & Pick<
    EarlierPassRow,
    'pass' | 'ticket' | 'line' | 'state'
  >,
): Promise<EarlierPassRow> {
  const { createdAtMs, ...row } = run
  const head = await database.ledgerHead(run.runId)
  return { ...row, openedAtMs: createdAtMs, entries: head?.treeSize ?? 0, root: head?.root ?? '' }
}

/** In order of passes, then of time. A roll that had another name then is found by `rollcall roll`. */
export async function earlierPasses({
  database,
  gathered,
  run,
}: Pick<RollRecord, 'database' | 'gathered' | 'run'>): Promise<readonly EarlierPassRow[]> {
  const rolls = [...new Set(run.state.tickets.map(({ ticket }) => ticket.roll))]
  const rows = await database.catalogue
    .selectFrom('runs')
    .select(['pass', 'runId', 'ticket', 'line', 'state', 'createdAtMs'])
    .where('roll', 'in', rolls)
    .where('pass', '<', gathered.report.pass)
    .orderBy('pass')
    .orderBy('createdAtMs')
    .execute()
  return Promise.all(rows.map((row) => rowOf(database, row)))
}
