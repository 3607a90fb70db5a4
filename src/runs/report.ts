// The roll record's data: one pass over a run's ledger gives who did what, which versions went on how many labels, every flag with an
// example, stops, events of the material, and the roll as a strip. Memory: a few bytes a label, else flat.
import type { Flag } from '../kernel/terms.ts'
import { type Entry, type EntryBodies, readEntries } from '../ledger/index.ts'
import type { Database, LedgerHead } from '../storage/port.ts'
import { type RecallList, recallLists } from './recall-list.ts'
import { WebFold } from './record/fold.ts'
import type { TicketStretch } from './record/web-marks.ts'
import { type StripColumn, StripTable } from './report-strip-table.ts'
import type { Run } from './run.ts'

export interface VersionUse {
  readonly job: string
  readonly design: string
  readonly version: number
  /** Digests of the layers laid, by layer name. */
  readonly layers: Readonly<Record<string, string>>
  labels: number
  setup: number
  revoked: number
}

export interface PersonAct {
  readonly index: number
  readonly atMs: number
  readonly what: string
  readonly by: string
  readonly second?: string
  readonly why?: string
}

export interface StopRow {
  readonly index: number
  readonly frame?: number
  readonly cell?: number
  readonly flag: Flag
  readonly job?: string | undefined
  readonly design?: string | undefined
  readonly print?: string | undefined
  clearedBy?: string
  clearedWhy?: string
  after?: 'resume' | 'skip-rest'
}

export interface RunReport {
  readonly runId: string
  readonly ticket: string
  readonly roll: string
  readonly line: string
  readonly pass: number
  readonly regulated: boolean
  readonly state: string
  readonly openedAtMs: number
  readonly lastAtMs: number
  readonly treeSize: number
  readonly root: string
  readonly jobs: readonly { readonly job: string; readonly title: string }[]
  /** The tickets that it ran under, in order. */
  readonly tickets: readonly TicketStretch[]
  /** In the order of the strip's letters. */
  readonly cells: readonly { readonly cell: number; readonly lane: number }[]
  readonly frames: number
  readonly labels: number
  readonly lay: number
  readonly skip: number
  readonly stop: number
  readonly setup: number
  readonly revoked: number
  readonly laid: Readonly<Record<string, number>>
  readonly flags: readonly {
    readonly flag: Flag
    readonly labels: number
    readonly example: { frame: number; cell: number; index: number }
  }[]
  readonly versions: readonly VersionUse[]
  readonly stops: readonly StopRow[]
  readonly acts: readonly PersonAct[]
  /** Recalls that reached the run, each with its labels. */
  readonly recalls: readonly RecallList[]
  readonly material: readonly (EntryBodies['material'] & { readonly index: number })[]
  readonly override?: string
  readonly strip: readonly StripColumn[]
}

interface Gathering {
  readonly versions: Map<string, VersionUse>
  readonly stops: StopRow[]
  readonly acts: PersonAct[]
  readonly material: (EntryBodies['material'] & { index: number })[]
  readonly strip: StripTable
  readonly fold: WebFold
  override?: string
  lastAtMs: number
}

const causeKey = (cause: {
  flag: string
  job?: string | undefined
  design?: string | undefined
  print?: string | undefined
}): string => [cause.flag, cause.job, cause.design, cause.print].join('\n')

const personOf = ({ by, second, why }: { by: string; second?: string | undefined; why?: string | undefined }) => ({
  by,
  ...(second === undefined ? {} : { second }),
  ...(why ? { why } : {}),
})

function wordsOf(body: EntryBodies['step'], index: number): string {
  if (body.after) return `cleared ${body.cause?.flag ?? ''}: ${body.after}`
  const ticket = body.ticket && index > 0 ? `, ticket ${(JSON.parse(body.ticket) as { ticket: string }).ticket}` : ''
  if (!body.lanes) return `to ${body.to}${body.again ? ` again: ${body.again}` : ''}${ticket}`
  const labels = body.compared?.map(({ lane, frame, cell }) => `lane ${lane}: frame ${frame}, cell ${cell}`)
  return `proved, to ${body.to}: compared lanes ${body.lanes.join(', ')}${labels ? ` (${labels.join('; ')})` : ''}${ticket}`
}

function gatherStep(into: Gathering, entry: Entry & { type: 'step' }): void {
  const { body, index, atMs } = entry
  const what = wordsOf(body, index)
  into.acts.push({ index, atMs, what, ...personOf(body) })
  if (body.override) into.override = body.override
  const { cause } = body
  if (!cause) return
  const open = into.stops.find((stop) => causeKey(stop) === causeKey(cause) && stop.clearedBy === undefined)
  if (!body.after) {
    if (!open) into.stops.push({ index, ...cause })
  } else if (open) {
    open.clearedBy = body.by
    open.after = body.after
    if (body.why) open.clearedWhy = body.why
  }
}

function useOf(into: Gathering, body: EntryBodies['answer']): VersionUse | undefined {
  const { identity } = body
  if (body.decision !== 'lay' || identity?.version === undefined) return undefined
  const key = [identity.job, identity.design, identity.version].join('\n')
  const use = into.versions.get(key) ?? {
    job: identity.job,
    design: identity.design,
    version: identity.version,
    layers: Object.fromEntries(body.layers.map((layer) => [layer.layer, layer.digest])),
    labels: 0,
    setup: 0,
    revoked: 0,
  }
  into.versions.set(key, use)
  return use
}

const letters = { lay: 'l', skip: 's', stop: 'x' } as const

function gatherAnswer(into: Gathering, entry: Entry & { type: 'answer' }, ordinals: ReadonlyMap<number, number>): void {
  const { body, index } = entry
  const use = useOf(into, body)
  if (use) use[body.setup ? 'setup' : 'labels']++
  if (body.cause) into.stops.push({ index, frame: body.frame, cell: body.cell, ...body.cause })
  const ordinal = ordinals.get(body.cell)
  if (ordinal === undefined) return
  const letter = body.setup && body.decision === 'lay' ? 'u' : letters[body.decision]
  into.strip.put({ frame: body.frame, ordinal }, letter)
}

// What was revoked is named by the last answer that named its place, which is the one revoked: a lay is not answered over.
function gatherRevocation(
  into: Gathering,
  body: EntryBodies['revocation'],
  ordinals: ReadonlyMap<number, number>,
): void {
  const ordinal = ordinals.get(body.cell)
  const place = into.fold.placeOf(body.frame)
  if (ordinal === undefined || place === undefined) return
  into.strip.put({ frame: body.frame, ordinal }, 'r')
  const number = into.fold.labels.use(place, ordinal)
  const named = number === undefined ? undefined : into.fold.labels.uses[number]
  const use = named && into.versions.get([named.job, named.design, named.version].join('\n'))
  if (use) use.revoked++
}

function gather(into: Gathering, entry: Entry, ordinals: ReadonlyMap<number, number>): void {
  into.lastAtMs = entry.atMs
  into.fold.take(entry)
  if (entry.type === 'frame') into.strip.frame(entry.body)
  else if (entry.type === 'answer') gatherAnswer(into, entry, ordinals)
  else if (entry.type === 'revocation') gatherRevocation(into, entry.body, ordinals)
  else if (entry.type === 'step') gatherStep(into, entry)
  else if (entry.type === 'material') into.material.push({ index: entry.index, ...entry.body })
  else if (entry.type === 'act') {
    const { act, job, design, version } = entry.body
    const what = [act, job, design, version].filter((part) => part !== undefined).join(' ')
    into.acts.push({ index: entry.index, atMs: entry.atMs, what, ...personOf(entry.body) })
  }
}

const byName = (a: VersionUse, b: VersionUse): number =>
  a.job.localeCompare(b.job, 'en') || a.design.localeCompare(b.design, 'en') || a.version - b.version

/** All that one pass over a run's ledger gives: the record, and the tables that its lists are worked out from. */
export interface GatheredRun {
  readonly report: Omit<RunReport, 'strip'>
  readonly strip: StripTable
  readonly fold: WebFold
}

/** Goes over a run's ledger once. Memory: a few tens of bytes a label. */
export async function gatherRun(database: Database, run: Run): Promise<GatheredRun> {
  const { state } = run
  const { cells, pitchUm } = state
  const into: Gathering = {
    versions: new Map(),
    stops: [],
    acts: [],
    material: [],
    strip: new StripTable(cells.length),
    fold: new WebFold({ cells, pitchUm, frameKnown: (frame) => state.frames.get(frame) }),
    lastAtMs: state.openedAtMs,
  }
  const ordinals = new Map(cells.map((cell, ordinal) => [cell.cell, ordinal]))
  for await (const entry of readEntries(database, { runId: run.runId })) gather(into, entry, ordinals)
  const head = await database.ledgerHead(run.runId)
  return { report: reportOf(run, into, head), strip: into.strip, fold: into.fold }
}

function reportOf({ runId, state }: Run, into: Gathering, head: LedgerHead | undefined): GatheredRun['report'] {
  const { counts } = state
  const flagRows = Object.entries(counts.flags) as [Flag, number][]
  return {
    runId,
    ticket: state.ticket.ticket,
    roll: state.ticket.roll,
    line: state.line.line,
    pass: state.ticket.pass,
    regulated: state.ticket.regulated,
    state: state.name,
    openedAtMs: state.openedAtMs,
    lastAtMs: into.lastAtMs,
    treeSize: head?.treeSize ?? 0,
    root: head?.root ?? '',
    jobs: state.frozen.jobs.map(({ job, title }) => ({ job, title })),
    tickets: into.fold.web.tickets,
    cells: state.cells.map(({ cell, lane }) => ({ cell, lane })),
    frames: counts.frames,
    labels: counts.labels,
    lay: counts.lay,
    skip: counts.skip,
    stop: counts.stop,
    setup: counts.setup,
    revoked: counts.revoked,
    laid: counts.laid,
    flags: flagRows.map(([flag, labels]) => ({
      flag,
      labels,
      example: state.examples[flag] ?? { frame: 0, cell: 0, index: 0 },
    })),
    versions: [...into.versions.values()].toSorted(byName),
    stops: into.stops,
    acts: into.acts,
    recalls: recallLists(state),
    material: into.material,
    ...(into.override ? { override: into.override } : {}),
  }
}

/** The record of a run as it stands in its ledger now. */
export async function reportRun(database: Database, run: Run): Promise<RunReport> {
  const { report, strip } = await gatherRun(database, run)
  return { ...report, strip: strip.columns() }
}
