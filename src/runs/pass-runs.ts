// The runs that there are, each with what became of its labels: from its snapshot where it ended, else from its ledger as it stands.
import { restoreSerials } from '../codes/index.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database } from '../storage/port.ts'
import type { PassRun } from './across-passes.ts'
import type { RunOutcomes } from './earlier-pass-fold.ts'
import { collectOutcomes, type EndedSerials } from './ended-serials.ts'
import type { Run } from './run.ts'

interface Parts {
  readonly database: Database
  readonly ended: EndedSerials
  readonly get: (runId: string) => Promise<Run>
}

type Named = Pick<PassRun, 'runId' | 'ticket' | 'line' | 'state' | 'createdAtMs'>

export interface Unreadable {
  readonly runId: string
  readonly detail: string
}

const unique = (names: readonly string[]): readonly string[] => [...new Set(names)]

async function endedRun({ ended, get }: Parts, { roll, ...row }: Named & { roll: string }): Promise<PassRun> {
  const { runId } = row
  const { pass, outcomes } = await ended.kept(runId, get)
  const rolls = unique([...(roll === '' ? [] : [roll]), ...outcomes.rows.map((outcome) => outcome.roll)])
  return {
    ...row,
    pass,
    rolls,
    jobs: Object.keys(outcomes.jobs),
    counts: async () => outcomes,
    async outcomes(job) {
      const kept = await ended.kept(runId, get)
      const found = await ended.snapshot(runId, { kept, get, digestOf: (now) => now.outcomes?.jobs[job] })
      return found && { rows: found.kept.outcomes.rows, set: await restoreSerials(found.bytes) }
    },
  }
}

function openRun({ database }: Parts, row: Named, run: Run): PassRun {
  const { tickets, ticket, name } = run.state
  let collected: Promise<RunOutcomes> | undefined
  const collect = (): Promise<RunOutcomes> => {
    collected ??= collectOutcomes(database, run)
    return collected
  }
  return {
    ...row,
    state: name,
    pass: ticket.pass,
    rolls: unique(tickets.map((inForce) => inForce.ticket.roll)),
    jobs: unique(tickets.flatMap(({ frozen }) => frozen.jobs.map(({ job }) => job))),
    counts: collect,
    async outcomes(job) {
      const { rows, sets } = await collect()
      const set = sets.get(job)
      return set && { rows, set }
    },
  }
}

/** All runs, oldest first. One whose ledger is damaged is told of. */
export async function passRuns(
  parts: Parts,
): Promise<{ readonly runs: readonly PassRun[]; readonly unreadable: readonly Unreadable[] }> {
  const rows = await parts.database.catalogue
    .selectFrom('runs')
    .select(['runId', 'ticket', 'line', 'state', 'createdAtMs', 'roll'])
    .orderBy('createdAtMs')
    .orderBy('runId')
    .execute()
  const runs: PassRun[] = []
  const unreadable: Unreadable[] = []
  for (const { roll, ...row } of rows) {
    try {
      const isEnded = row.state === 'sealed' || row.state === 'aborted'
      runs.push(isEnded ? await endedRun(parts, { ...row, roll }) : openRun(parts, row, await parts.get(row.runId)))
    } catch (error) {
      if (!(error instanceof Problem)) throw error
      unreadable.push({ runId: row.runId, detail: error.message })
    }
  }
  return { runs, unreadable }
}

export interface RollRow {
  readonly roll: string
  readonly passes: readonly number[]
  /** Ids, oldest first. */
  readonly runs: readonly string[]
  /** When the last of them was opened. */
  readonly lastAtMs: number
}

/** The rolls that runs passed over, the last one first. `runs` are oldest first. */
export function rollsOf(runs: readonly PassRun[]): readonly RollRow[] {
  const byRoll = new Map<string, PassRun[]>()
  for (const run of runs) for (const roll of run.rolls) byRoll.set(roll, [...(byRoll.get(roll) ?? []), run])
  const rows = [...byRoll].map(([roll, over]) => ({
    roll,
    passes: [...new Set(over.map(({ pass }) => pass))].toSorted((a, b) => a - b),
    runs: over.map(({ runId }) => runId),
    lastAtMs: Math.max(...over.map(({ createdAtMs }) => createdAtMs)),
  }))
  return rows.toSorted((a, b) => b.lastAtMs - a.lastAtMs || (a.roll < b.roll ? -1 : 1))
}
