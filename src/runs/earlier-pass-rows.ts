// What earlier passes say to a ticket before it runs: that they are missing, still go on, can't be tied to its labels, or that the roll
// can't have come out of them as the ticket says.
import { decodeEntry } from '../ledger/index.ts'
import {
  acrossPasses,
  type Frozen,
  type FrozenJob,
  type LineProfile,
  type Orientation,
  orientationOf,
  type ReadinessRow,
  type ReadinessRows,
  type Ticket,
  wantedVersions,
} from '../lines/index.ts'
import type { Database } from '../storage/port.ts'

interface RunRow {
  readonly runId: string
  readonly roll: string
  readonly pass: number
  readonly jobs: string
  readonly state: string
}

export interface EarlierOrder {
  readonly ticket: Ticket
  readonly line: LineProfile
  readonly frozen: Frozen
}

const neededPasses = (job: FrozenJob): readonly number[] =>
  [...new Set(wantedVersions(job).flatMap(({ earlierPasses }) => earlierPasses ?? []))].toSorted((a, b) => a - b)

const carries = (row: RunRow, { job }: FrozenJob): boolean => (JSON.parse(row.jobs) as string[]).includes(job)

function serialRow({ job }: FrozenJob, passes: readonly number[]): ReadinessRow {
  return {
    code: 'codes-without-serial',
    job,
    message: `its codes carry no serial, so no label can be tied to what pass ${passes.join(' and ')} did with it; all would be let pass`,
    mend: 'lay all layers in one pass, or print codes with serials',
  }
}

// The earlier pass of this very roll counts; where no run knows the roll, it was split or joined, and all of the job's do.
function passRows(
  { job }: FrozenJob,
  { pass, runs, roll }: { pass: number; runs: readonly RunRow[]; roll: string },
): ReadinessRows {
  const all = runs.filter((run) => run.pass === pass)
  const own = all.filter((run) => run.roll === roll)
  const known = own.length > 0 ? own : all
  if (known.length === 0) {
    const row: ReadinessRow = {
      code: 'earlier-pass-missing',
      job,
      message: `no run of pass ${pass} is known, and labels that it did not lay are let pass`,
      mend: `run pass ${pass} first, or correct pass on the ticket`,
      measured: 0,
      limit: 1,
    }
    return { blockers: [row], warnings: [] }
  }
  const open = known.filter(({ state }) => state !== 'sealed' && state !== 'aborted')
  const unsealed = open.length > 0 ? open : known.some(({ state }) => state === 'sealed') ? [] : known
  if (unsealed.length === 0) return { blockers: [], warnings: [] }
  const names = unsealed.slice(0, 5).map(({ runId, state }) => `${runId} is ${state}`)
  const row: ReadinessRow = {
    code: 'earlier-pass-open',
    job,
    message: `pass ${pass} is not sealed: ${names.join(', ')}${unsealed.length > 5 ? `, and ${unsealed.length - 5} more` : ''}`,
    mend: 'seal it; what it does until then counts all the same',
    measured: unsealed.length,
    limit: 0,
  }
  return { blockers: [], warnings: [row] }
}

async function orientationIn(database: Database, runId: string): Promise<Orientation | undefined> {
  const [row] = await database.readLedger({ runId, from: 0, count: 1 })
  const first = row && decodeEntry(row.bytes)
  if (first?.type !== 'step' || !first.body.ticket || !first.body.line || !first.body.frozen) return undefined
  const frame = (JSON.parse(first.body.frozen) as Frozen).jobs[0]?.frame
  const ticket = JSON.parse(first.body.ticket) as Ticket
  const found = frame && orientationOf({ ticket, line: JSON.parse(first.body.line) as LineProfile, frame })
  return found?.kind === 'possible' ? found : undefined
}

// The newest run of each earlier pass over the roll: an older one may have been given up for its wrong ticket.
async function orientationRows(
  database: Database,
  { ticket, line, frozen }: EarlierOrder,
  runs: readonly RunRow[],
): Promise<ReadinessRow[]> {
  const frame = frozen.jobs[0]?.frame
  const now = frame && orientationOf({ ticket, line, frame })
  if (now?.kind !== 'possible') return []
  const newest = new Map(runs.filter(({ roll }) => roll === ticket.roll).map((run) => [run.pass, run]))
  const rows: ReadinessRow[] = []
  for (const { runId, pass } of newest.values()) {
    const earlier = await orientationIn(database, runId)
    const verdict = earlier && acrossPasses({ earlier, now })
    if (verdict?.kind !== 'impossible') continue
    rows.push({
      code: 'orientation-across-passes',
      message: `${runId}, pass ${pass}: ${verdict.message}`,
      mend: 'compare the roll with its drawing: rollcall orientation',
      measured: verdict.code,
    })
  }
  return rows
}

/** Rows of a ticket of a pass after the first; none for others. Costs one look at the list of runs and an entry a run of the roll. */
export async function earlierPassRows(database: Database, order: EarlierOrder): Promise<ReadinessRows> {
  const { ticket, frozen } = order
  if (ticket.pass === 1) return { blockers: [], warnings: [] }
  const runs: readonly RunRow[] = await database.catalogue
    .selectFrom('runs')
    .select(['runId', 'roll', 'pass', 'jobs', 'state'])
    .where('pass', '<', ticket.pass)
    .orderBy('createdAtMs')
    .orderBy('runId')
    .execute()
  const found: ReadinessRows[] = []
  for (const job of frozen.jobs) {
    const passes = neededPasses(job)
    const ofJob = runs.filter((run) => carries(run, job))
    if (passes.length > 0 && !job.carries.serial) found.push({ blockers: [serialRow(job, passes)], warnings: [] })
    else for (const pass of passes) found.push(passRows(job, { pass, runs: ofJob, roll: ticket.roll }))
  }
  const ofJobs = runs.filter((run) => frozen.jobs.some((job) => carries(run, job)))
  return {
    blockers: [...found.flatMap(({ blockers }) => blockers), ...(await orientationRows(database, order, ofJobs))],
    warnings: found.flatMap(({ warnings }) => warnings),
  }
}
