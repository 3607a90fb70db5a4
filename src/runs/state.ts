// The state of a run as a fold over its ledger: the same function takes up entries as they are written and when a run is opened
// again, so that memory and record can't drift apart.
import { assert } from '../kernel/assert.ts'
import { Problem } from '../kernel/problem.ts'
import { type Flag, frameIndex } from '../kernel/terms.ts'
import type { Entry, EntryBodies } from '../ledger/index.ts'
import { type Frozen, type LineProfile, type Policy, policyOf, type Ticket } from '../lines/index.ts'
import { openCountingTracker, type Tracker } from '../tracking/index.ts'
import { Causes, StopWindows } from './causes.ts'
import { type CellOfRun, cellsOfRun } from './geometry.ts'
import { LaidSerials } from './laid-serials.ts'
import { PlaceTable } from './places.ts'
import { toUm } from './wire.ts'

export type RunStateName = EntryBodies['step']['to']
export type ReadBody = NonNullable<EntryBodies['frame']['reads']>[number]
export type LaidWord = EntryBodies['laid']['laid']

export interface FrameRecord {
  readonly frame: number
  readonly place: number
  readonly positionUm: number
  readonly offPhase: boolean
  /** Ledger index of the frame's entry. */
  readonly entryIndex: number
  readonly capture?: string
  /** Ledger index of the first cell's answer; the others follow it, in order of cells. */
  answersAt?: number
  /** By cell ordinal. */
  laid?: (LaidWord | undefined)[]
}

/** A `lay` whose point of no return has not passed: the ones that a recall can still revoke. */
export interface LiveLay {
  readonly answer: number
  readonly frame: number
  readonly cell: number
  readonly noReturnUm: number
  readonly job: string
  readonly design: string
  readonly version: number
}

export interface RunCounts {
  frames: number
  labels: number
  lay: number
  skip: number
  stop: number
  setup: number
  revoked: number
  readonly flags: Partial<Record<Flag, number>>
  readonly laid: Record<LaidWord, number>
}

export interface RunState {
  readonly runId: string
  readonly ticket: Ticket
  readonly line: LineProfile
  readonly frozen: Frozen
  readonly policy: Policy
  readonly cells: readonly CellOfRun[]
  readonly pitchUm: number
  /** From a frame's position to the first point of no return of its labels, µm of travel. */
  readonly soonestNoReturnUm: number
  readonly tracker: Tracker
  readonly openedAtMs: number
  name: RunStateName
  readonly frames: Map<number, FrameRecord>
  /** Frames that have no answers yet, in order, with their reads where these are there. */
  readonly waiting: Map<number, readonly ReadBody[] | undefined>
  lastFrame: number
  lastPositionUm: number
  /** A re-threading was recorded since the last frame: the frame number and the position may leap. */
  leapAllowed: boolean
  readonly places: PlaceTable
  /** Where a serial was laid in the run proper: (job, serial, cell) → place and cell ordinal. */
  readonly serials: LaidSerials
  readonly causes: Causes
  readonly windows: StopWindows
  /** In order of frames. */
  live: LiveLay[]
  /** Ledger index of an answer → that of its revocation. */
  readonly revoked: Map<number, number>
  /** `job\ndesign\nversion` of versions recalled while the run was open. */
  readonly withdrawn: Set<string>
  readonly foils: Map<string, string>
  /** Lanes on which a set-up label was answered `lay` since proving began. */
  readonly provable: Set<number>
  readonly counts: RunCounts
  /** First label of each flag, for reports. */
  readonly examples: Partial<Record<Flag, { readonly frame: number; readonly cell: number; readonly index: number }>>
  nextIndex: number
}

/** Whether the run laid a serial at another slot than this one, and it still stands as laid there. */
export function isLaidAt(
  state: RunState,
  of: { job: string; serial: string; cell?: number | undefined },
  notSlot?: number,
): boolean {
  const slot = state.serials.slotOf(of.job, of.serial, of.cell)
  if (slot === undefined || slot === notSlot) return false
  return state.places.state(Math.floor(slot / state.cells.length), slot % state.cells.length) === 'lay'
}

export const versionKey = (job: string, design: string, version: number): string => `${job}\n${design}\n${version}`

/** The state that a run's first entry opens. Problem `ledger-bad` when that entry does not hold what a run is opened with. */
export function openState(runId: string, first: Entry): RunState {
  if (first.type !== 'step' || first.index !== 0 || !first.body.ticket || !first.body.line || !first.body.frozen) {
    throw new Problem('ledger-bad', `the first entry of run ${runId} does not open it`, { row: 1 })
  }
  const ticket = JSON.parse(first.body.ticket) as Ticket
  const line = JSON.parse(first.body.line) as LineProfile
  const frozen = JSON.parse(first.body.frozen) as Frozen
  const frame = frozen.jobs[0]?.frame
  assert(frame, 'a run opens with at least one job')
  const policy = policyOf(line)
  const cells = cellsOfRun(frame, ticket, line)
  return {
    runId,
    ticket,
    line,
    frozen,
    policy,
    cells,
    pitchUm: toUm(frame.pitchMm),
    soonestNoReturnUm: Math.min(...cells.map((cell) => cell.noReturnAfterUm)),
    tracker: openCountingTracker(toUm(frame.pitchMm)),
    openedAtMs: first.atMs,
    name: first.body.to,
    frames: new Map(),
    waiting: new Map(),
    lastFrame: -1,
    lastPositionUm: 0,
    leapAllowed: true,
    places: new PlaceTable(cells.length),
    serials: new LaidSerials(),
    causes: new Causes(),
    windows: new StopWindows(policy),
    live: [],
    revoked: new Map(),
    withdrawn: new Set(),
    foils: new Map((ticket.foils ?? []).map((foil) => [foil.station, foil.foil])),
    provable: new Set(),
    counts: {
      frames: 0,
      labels: 0,
      lay: 0,
      skip: 0,
      stop: 0,
      setup: 0,
      revoked: 0,
      flags: {},
      laid: { full: 0, part: 0, none: 0, unknown: 0 },
    },
    examples: {},
    nextIndex: 1,
  }
}

/** Takes up the next entry. Entries MUST come in order; a gap is a bug. */
export function applyEntry(state: RunState, entry: Entry): void {
  assert(entry.index === state.nextIndex, 'entries are taken up in order')
  state.nextIndex++
  if (entry.type === 'step') applyStep(state, entry.body, entry.index)
  else if (entry.type === 'frame') applyFrame(state, entry.body, entry.index)
  else if (entry.type === 'reads') state.waiting.set(entry.body.frame, entry.body.reads)
  else if (entry.type === 'answer') applyAnswer(state, entry.body, entry.index)
  else if (entry.type === 'revocation') applyRevocation(state, entry.body, entry.index)
  else if (entry.type === 'laid') applyLaid(state, entry.body)
  else if (entry.type === 'material') applyMaterial(state, entry.body)
  else applyAct(state, entry.body)
}

function applyStep(state: RunState, body: EntryBodies['step'], index: number): void {
  if (body.to === 'proving' && state.name !== 'proving') state.provable.clear()
  state.name = body.to
  if (!body.cause) return
  if (!body.after) {
    // A step into `stopped` behind an answer repeats the cause that the answer opened.
    if (state.causes.status(body.cause) === undefined) state.causes.open(body.cause, { index })
    return
  }
  state.causes.clear(body.cause, body.after)
  state.windows.reset(body.cause.flag)
}

function applyFrame(state: RunState, body: EntryBodies['frame'], index: number): void {
  const tracked = state.tracker.advance({ frame: frameIndex(body.frame), positionUm: body.positionUm })
  assert(tracked.place === body.place, 'a replayed frame is at the place that was recorded')
  state.frames.set(body.frame, {
    frame: body.frame,
    place: body.place,
    positionUm: body.positionUm,
    offPhase: tracked.offPhase,
    entryIndex: index,
    ...(body.capture ? { capture: body.capture } : {}),
  })
  state.waiting.set(body.frame, body.reads)
  state.lastFrame = body.frame
  state.lastPositionUm = body.positionUm
  state.leapAllowed = false
  state.counts.frames++
  state.live = state.live.filter((lay) => lay.noReturnUm > body.positionUm)
}

function applyAnswer(state: RunState, body: EntryBodies['answer'], index: number): void {
  const ordinal = state.cells.findIndex((cell) => cell.cell === body.cell)
  const frame = state.frames.get(body.frame)
  assert(frame && ordinal >= 0, 'an answer is to a label of a recorded frame')
  if (ordinal === 0) frame.answersAt = index
  if (ordinal === state.cells.length - 1) state.waiting.delete(body.frame)
  countAnswer(state, body, index)
  if (body.identity) state.places.noteText(body.place, ordinal, body.identity.text)
  if (body.cause) state.causes.open(body.cause, { index, frame: body.frame, cell: body.cell })
  const before = state.places.state(body.place, ordinal)
  if (body.decision === 'lay') applyLay(state, body, { index, ordinal })
  // A label that was laid stays laid, whatever a later sighting is answered.
  else if (before !== 'lay') state.places.put({ place: body.place, ordinal, answer: index }, 'skipped')
}

function applyLay(state: RunState, body: EntryBodies['answer'], at: { index: number; ordinal: number }): void {
  const { identity } = body
  assert(identity?.version !== undefined, 'what is laid has an identity with a version')
  state.places.put({ place: body.place, ordinal: at.ordinal, answer: at.index }, 'lay')
  const cell = state.cells[at.ordinal]
  assert(cell, 'the ordinal is that of a cell')
  if (body.setup) state.provable.add(cell.lane)
  else if (identity.serial !== undefined) {
    const slot = body.place * state.cells.length + at.ordinal
    state.serials.add(identity.job, { serial: identity.serial, cell: cell.serialCell, slot })
  }
  const { job, design, version } = identity
  state.live.push({
    answer: at.index,
    frame: body.frame,
    cell: body.cell,
    noReturnUm: body.noReturnUm,
    job,
    design,
    version: version as number,
  })
}

function countAnswer(state: RunState, body: EntryBodies['answer'], index: number): void {
  const { counts } = state
  counts.labels++
  counts[body.decision]++
  if (body.setup) counts.setup++
  else state.windows.add(body.flags)
  for (const flag of body.flags) {
    counts.flags[flag] = (counts.flags[flag] ?? 0) + 1
    state.examples[flag] ??= { frame: body.frame, cell: body.cell, index }
  }
}

function applyRevocation(state: RunState, body: EntryBodies['revocation'], index: number): void {
  state.revoked.set(body.answer, index)
  state.live = state.live.filter((lay) => lay.answer !== body.answer)
  state.counts.revoked++
  setPlace(state, body, 'revoked')
}

function applyLaid(state: RunState, body: EntryBodies['laid']): void {
  const frame = state.frames.get(body.frame)
  const ordinal = state.cells.findIndex((cell) => cell.cell === body.cell)
  assert(frame && ordinal >= 0, 'a laid report is for a label of a recorded frame')
  frame.laid ??= []
  frame.laid[ordinal] = body.laid
  state.counts.laid[body.laid]++
  // What lies on the label can't be kept off it any more, and what the controller left out needs no recall.
  if (body.laid !== 'unknown')
    state.live = state.live.filter((lay) => lay.frame !== body.frame || lay.cell !== body.cell)
  if (body.laid === 'none') setPlace(state, body, 'none')
}

// Only the place's last `lay` speaks for it: a report on an earlier sighting changes nothing.
function setPlace(state: RunState, label: { frame: number; cell: number }, to: 'revoked' | 'none'): void {
  const frame = state.frames.get(label.frame)
  const ordinal = state.cells.findIndex((cell) => cell.cell === label.cell)
  assert(frame?.answersAt !== undefined && ordinal >= 0, 'the label was answered')
  const answer = frame.answersAt + ordinal
  if (state.places.state(frame.place, ordinal) !== 'lay') return
  if (state.places.answer(frame.place, ordinal) === answer)
    state.places.put({ place: frame.place, ordinal, answer }, to)
}

function applyMaterial(state: RunState, body: EntryBodies['material']): void {
  if (body.event === 'foil') {
    if (body.station && body.foil) state.foils.set(body.station, body.foil)
    else if (body.station) state.foils.delete(body.station)
    return
  }
  if (body.event === 're-thread') {
    state.tracker.restart()
    state.leapAllowed = true
    state.live = []
  } else state.tracker.breakPhase(body.positionUm ?? state.lastPositionUm)
}

function applyAct(state: RunState, body: EntryBodies['act']): void {
  if (body.act !== 'withdraw' || !body.job || !body.design || body.version === undefined) return
  state.withdrawn.add(versionKey(body.job, body.design, body.version))
}

/** All lanes of the run, rising. */
export const lanesOf = (state: RunState): readonly number[] =>
  [...new Set(state.cells.map((cell) => cell.lane))].toSorted((a, b) => a - b)
