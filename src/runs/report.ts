// The roll record's data: one pass over a run's ledger gives who did what, which versions went on how many labels, every flag with an
// example, stops, events of the material, and the roll as a strip. Memory: one small row a frame for the strip, else flat.
import type { Flag } from '../kernel/terms.ts'
import { type Entry, type EntryBodies, readEntries } from '../ledger/index.ts'
import type { Database } from '../storage/port.ts'
import type { Run } from './run.ts'
import { toMm } from './wire.ts'

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

export interface StripColumn {
  readonly frame: number
  readonly positionMm: number
  /** By cell ordinal: l lay, s skip, x stop, u set-up, r revoked, space for none. */
  cells: string
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
  readonly material: readonly (EntryBodies['material'] & { readonly index: number })[]
  readonly override?: string
  readonly strip: readonly StripColumn[]
}

interface Gathering {
  readonly versions: Map<string, VersionUse>
  readonly answers: Map<
    number,
    { readonly use: VersionUse | undefined; readonly column: StripColumn; readonly ordinal: number }
  >
  readonly stops: StopRow[]
  readonly acts: PersonAct[]
  readonly material: (EntryBodies['material'] & { index: number })[]
  readonly columns: Map<number, StripColumn>
  override?: string
  lastAtMs: number
}

const causeKey = (cause: {
  flag: string
  job?: string | undefined
  design?: string | undefined
  print?: string | undefined
}): string => [cause.flag, cause.job, cause.design, cause.print].join('\n')

function gatherStep(into: Gathering, entry: Entry & { type: 'step' }): void {
  const { body, index, atMs } = entry
  const what = body.after ? `cleared ${body.cause?.flag ?? ''}: ${body.after}` : `to ${body.to}`
  into.acts.push({ index, atMs, what, by: body.by, ...(body.why ? { why: body.why } : {}) })
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
  const column = into.columns.get(body.frame)
  const ordinal = ordinals.get(body.cell)
  if (!column || ordinal === undefined) return
  column.cells += body.setup && body.decision === 'lay' ? 'u' : letters[body.decision]
  if (body.decision === 'lay') into.answers.set(index, { use, column, ordinal })
}

function gatherRevocation(into: Gathering, body: EntryBodies['revocation']): void {
  const answer = into.answers.get(body.answer)
  if (!answer) return
  if (answer.use) answer.use.revoked++
  const { column, ordinal } = answer
  column.cells = `${column.cells.slice(0, ordinal)}r${column.cells.slice(ordinal + 1)}`
}

function gather(into: Gathering, entry: Entry, ordinals: ReadonlyMap<number, number>): void {
  into.lastAtMs = entry.atMs
  if (entry.type === 'frame') {
    const { frame, positionUm } = entry.body
    into.columns.set(frame, { frame, positionMm: toMm(positionUm), cells: '' })
  } else if (entry.type === 'answer') gatherAnswer(into, entry, ordinals)
  else if (entry.type === 'revocation') gatherRevocation(into, entry.body)
  else if (entry.type === 'step') gatherStep(into, entry)
  else if (entry.type === 'material') into.material.push({ index: entry.index, ...entry.body })
  else if (entry.type === 'act') {
    const { act, by, why, job, design, version } = entry.body
    const what = [act, job, design, version].filter((part) => part !== undefined).join(' ')
    into.acts.push({ index: entry.index, atMs: entry.atMs, what, by, ...(why ? { why } : {}) })
  }
}

const byName = (a: VersionUse, b: VersionUse): number =>
  a.job.localeCompare(b.job, 'en') || a.design.localeCompare(b.design, 'en') || a.version - b.version

/** The record of a run as it stands in its ledger now. */
export async function reportRun(database: Database, run: Run): Promise<RunReport> {
  const { state } = run
  const into: Gathering = {
    versions: new Map(),
    answers: new Map(),
    stops: [],
    acts: [],
    material: [],
    columns: new Map(),
    lastAtMs: state.openedAtMs,
  }
  const ordinals = new Map(state.cells.map((cell, ordinal) => [cell.cell, ordinal]))
  for await (const entry of readEntries(database, { runId: run.runId })) gather(into, entry, ordinals)
  const head = await database.ledgerHead(run.runId)
  const { counts } = state
  const flagRows = Object.entries(counts.flags) as [Flag, number][]
  return {
    runId: run.runId,
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
    material: into.material,
    ...(into.override ? { override: into.override } : {}),
    strip: [...into.columns.values()],
  }
}
