// The statements on the `work` table, one function each, and a row as a work item.
import type { Kysely, Selectable } from 'kysely'
import type { Tables, WorkTable } from '../storage/index.ts'
import { type WorkItem, type WorkOrder, type WorkState, workStates } from './port.ts'

type Catalogue = Kysely<Tables>
export type WorkRow = Selectable<WorkTable>

const priorityDefault = 10
const attemptsMaxDefault = 5
const ppm = 1_000_000

/** What a try of a piece of work led to. */
export type Ending =
  | { readonly state: 'done'; readonly result: string }
  | { readonly state: 'dead' | 'cancelled'; readonly error: string }
  | { readonly state: 'waiting'; readonly error: string | null; readonly attempts: number; readonly dueAtMs: number }

export interface Progress {
  readonly share: number
  readonly note: string
}

export const hasEnded = ({ state }: { state: string }): boolean =>
  state === 'done' || state === 'dead' || state === 'cancelled'

const toState = (text: string): WorkState => workStates.find((state) => state === text) ?? 'dead'

const parsed = (text: string | null): unknown => (text === null ? undefined : JSON.parse(text))

/** `progress` is that of work running here, which is newer than the table's. */
export function toItem(row: WorkRow, progress?: Progress): WorkItem {
  const { id, kind, priority, attempts, attemptsMax, createdAtMs } = row
  return {
    id,
    kind,
    state: toState(row.state),
    priority,
    attempts,
    attemptsMax,
    progress: progress?.share ?? row.progressPpm / ppm,
    progressNote: progress?.note ?? row.progressNote,
    payload: parsed(row.payload),
    ...(row.result === null ? {} : { result: parsed(row.result) }),
    ...(row.error === null ? {} : { error: parsed(row.error) }),
    createdAtMs,
    ...(row.endedAtMs === null ? {} : { endedAtMs: row.endedAtMs }),
  }
}

/** Fresh work is due at once whatever the wall clock does: 0, not now. */
const fresh = {
  state: 'waiting',
  attempts: 0,
  dueAtMs: 0,
  progressPpm: 0,
  progressNote: '',
  result: null,
  error: null,
  endedAtMs: null,
} as const

/** Adds the work, or puts it back if it is dead or cancelled; work that waits, runs or is done stays as it is. */
export async function addWork(catalogue: Catalogue, order: WorkOrder, nowMs: number): Promise<WorkRow> {
  const asked = {
    ...fresh,
    kind: order.kind,
    priority: order.priority ?? priorityDefault,
    payload: JSON.stringify(order.payload ?? null),
    attemptsMax: order.attemptsMax ?? attemptsMaxDefault,
    createdAtMs: nowMs,
  }
  const added = await catalogue
    .insertInto('work')
    .values({ ...asked, id: order.id })
    .onConflict((conflict) => conflict.column('id').doUpdateSet(asked).where('work.state', 'in', ['dead', 'cancelled']))
    .returningAll()
    .executeTakeFirst()
  if (added !== undefined) return added
  return catalogue.selectFrom('work').selectAll().where('id', '=', order.id).executeTakeFirstOrThrow()
}

/** Marks the next due pieces of a kind as running and returns them in their turn. */
export async function claimWork(
  catalogue: Catalogue,
  { kind, count, nowMs }: { kind: string; count: number; nowMs: number },
): Promise<WorkRow[]> {
  const rows = await catalogue
    .updateTable('work')
    .set((eb) => ({ state: 'running', attempts: eb('attempts', '+', 1) }))
    .where('id', 'in', (eb) =>
      eb
        .selectFrom('work')
        .select('id')
        .where('state', '=', 'waiting')
        .where('kind', '=', kind)
        .where('dueAtMs', '<=', nowMs)
        .orderBy('priority')
        .orderBy('createdAtMs')
        .orderBy('id')
        .limit(count),
    )
    .returningAll()
    .execute()
  return rows.sort((a, b) => a.priority - b.priority || a.createdAtMs - b.createdAtMs || (a.id < b.id ? -1 : 1))
}

/** Records how a try ended. */
export async function endWork(
  catalogue: Catalogue,
  id: string,
  { ending, progress, nowMs }: { ending: Ending; progress: Progress; nowMs: number },
): Promise<WorkRow> {
  const share = ending.state === 'done' ? 1 : progress.share
  return catalogue
    .updateTable('work')
    .set({
      ...ending,
      ...(hasEnded(ending) ? { endedAtMs: nowMs } : {}),
      ...(ending.state === 'done' ? { error: null } : {}),
      progressPpm: Math.round(share * ppm),
      progressNote: progress.note,
    })
    .where('id', '=', id)
    .returningAll()
    .executeTakeFirstOrThrow()
}

export async function noteProgress(catalogue: Catalogue, id: string, { share, note }: Progress): Promise<void> {
  await catalogue
    .updateTable('work')
    .set({ progressPpm: Math.round(share * ppm), progressNote: note })
    .where('id', '=', id)
    .where('state', '=', 'running')
    .execute()
}

/** Cancels work in one of the states; undefined where it is in none of them. */
export async function cancelWork(
  catalogue: Catalogue,
  id: string,
  { states, error, nowMs }: { states: readonly WorkState[]; error: string; nowMs: number },
): Promise<WorkRow | undefined> {
  return catalogue
    .updateTable('work')
    .set({ state: 'cancelled', error, endedAtMs: nowMs })
    .where('id', '=', id)
    .where('state', 'in', states)
    .returningAll()
    .executeTakeFirst()
}

export async function requeueWork(catalogue: Catalogue, id: string): Promise<WorkRow | undefined> {
  return catalogue
    .updateTable('work')
    .set(fresh)
    .where('id', '=', id)
    .where('state', 'in', ['dead', 'cancelled'])
    .returningAll()
    .executeTakeFirst()
}

/**
 * Work that was running when the process died waits again, even after its last try, since the fault may not be its own. Where it
 * was running once more than its tries allow, it may well be what kills the process: it is dead, and returned.
 */
export async function reviveWork(
  catalogue: Catalogue,
  { error, nowMs }: { error: string; nowMs: number },
): Promise<WorkRow[]> {
  const dead = await catalogue
    .updateTable('work')
    .set({ state: 'dead', error, endedAtMs: nowMs })
    .where('state', '=', 'running')
    .whereRef('attempts', '>', 'attemptsMax')
    .returningAll()
    .execute()
  await catalogue.updateTable('work').set({ state: 'waiting', dueAtMs: 0 }).where('state', '=', 'running').execute()
  return dead
}

/** When the next piece that is not due yet will be. */
export async function nextDueMs(catalogue: Catalogue, nowMs: number): Promise<number | undefined> {
  const row = await catalogue
    .selectFrom('work')
    .select('dueAtMs')
    .where('state', '=', 'waiting')
    .where('dueAtMs', '>', nowMs)
    .orderBy('dueAtMs')
    .limit(1)
    .executeTakeFirst()
  return row?.dueAtMs
}

/** Forgets all but the newest `keep` pieces of a kind that are done. */
export async function sweepWork(catalogue: Catalogue, { kind, keep }: { kind: string; keep: number }): Promise<void> {
  await catalogue
    .deleteFrom('work')
    .where('id', 'in', (eb) =>
      eb
        .selectFrom('work')
        .select('id')
        .where('state', '=', 'done')
        .where('kind', '=', kind)
        .orderBy('endedAtMs', 'desc')
        .orderBy('id', 'desc')
        .limit(1_000_000)
        .offset(keep),
    )
    .execute()
}

export async function findWork(catalogue: Catalogue, id: string): Promise<WorkRow | undefined> {
  return catalogue.selectFrom('work').selectAll().where('id', '=', id).executeTakeFirst()
}

/** Newest first. */
export async function listWork(
  catalogue: Catalogue,
  { state, kind, count }: { state?: WorkState; kind?: string; count: number },
): Promise<WorkRow[]> {
  let query = catalogue.selectFrom('work').selectAll().orderBy('createdAtMs', 'desc').orderBy('id', 'desc').limit(count)
  if (state !== undefined) query = query.where('state', '=', state)
  if (kind !== undefined) query = query.where('kind', '=', kind)
  return query.execute()
}

export async function countWork(catalogue: Catalogue): Promise<Record<WorkState, number>> {
  const rows = await catalogue
    .selectFrom('work')
    .select((eb) => ['state', eb.fn.countAll<number>().as('count')])
    .groupBy('state')
    .execute()
  const counts: Record<WorkState, number> = { waiting: 0, running: 0, done: 0, dead: 0, cancelled: 0 }
  for (const { state, count } of rows) counts[toState(state)] = Number(count)
  return counts
}
