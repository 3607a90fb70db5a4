// The state of a run, and how its first entry opens it; `fold.ts` takes up the others.
import { assert } from '../kernel/assert.ts'
import { Problem } from '../kernel/problem.ts'
import type { Flag } from '../kernel/terms.ts'
import type { Entry, EntryBodies } from '../ledger/index.ts'
import {
  type Frozen,
  type FrozenJob,
  type LineProfile,
  type Orientation,
  type Policy,
  policyOf,
  type Ticket,
} from '../lines/index.ts'
import { openCountingTracker, type Tracker } from '../tracking/index.ts'
import { Causes, StopWindows } from './causes.ts'
import { type CellOfRun, cellsOfRun, demandOrientation } from './geometry.ts'
import { LaidSerials } from './laid-serials.ts'
import type { Spot, StandingEvent, WebStretch } from './material-record.ts'
import { PlaceTable } from './places.ts'
import { type Reel, reelsOf } from './reels.ts'
import type { SetUpSection } from './set-up.ts'
import { toUm } from './wire-parts.ts'

export type RunStateName = EntryBodies['step']['to']
export type ReadBody = NonNullable<EntryBodies['frame']['reads']>[number]
export type LaidWord = EntryBodies['laid']['laid']

export interface FrameRecord {
  readonly frame: number
  readonly place: number
  readonly positionUm: number
  readonly offPhase: boolean
  /** The first off its phase after one that was on it: the mark count may have slipped here. */
  readonly slips?: true
  /** Ledger index of the frame's entry. */
  readonly entryIndex: number
  readonly capture?: string
  /** Reads come apart from it; `given` are those that came with it. */
  readonly awaits?: true
  readonly given?: readonly ReadBody[]
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

/** A ticket of the run, in force for the frames recorded behind an entry until the next one. */
export interface TicketInForce {
  readonly fromIndex: number
  readonly ticket: Ticket
  readonly frozen: Frozen
  /** Where its first new web began. */
  begins?: Spot
}

export interface RunState {
  readonly runId: string
  /** Of the frames to come; earlier ones were answered under theirs: see `tickets`. */
  ticket: Ticket
  readonly line: LineProfile
  frozen: Frozen
  /** In order; the last is `ticket` with `frozen`. */
  readonly tickets: TicketInForce[]
  readonly orientation: Orientation
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
  /** The recalls themselves, in order, with the ledger index of each. */
  readonly recalls: {
    readonly job: string
    readonly design: string
    readonly version: number
    readonly by: string
    readonly why?: string
    readonly atMs: number
    readonly index: number
  }[]
  /** Numbers, from 1, of the versions that labels were answered lay with, by `job\ndesign\nversion`. */
  readonly versions: Map<string, number>
  reels: readonly Reel[]
  readonly setUps: SetUpSection[]
  /** What was run under each encoder origin; re-threading begins another. */
  readonly stretches: WebStretch[]
  /** A re-threading was recorded, and no frame since. */
  stretchEnded: boolean
  /** Events of the material, in order, without those that were voided. */
  material: readonly StandingEvent[]
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
    tickets: [{ fromIndex: 0, ticket, frozen }],
    orientation: demandOrientation(frame, ticket, line),
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
    recalls: [],
    versions: new Map(),
    reels: reelsOf(ticket),
    setUps: [],
    stretches: [],
    stretchEnded: true,
    material: [],
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

/** All lanes of the run, rising. */
export const lanesOf = (state: RunState): readonly number[] =>
  [...new Set(state.cells.map((cell) => cell.lane))].toSorted((a, b) => a - b)

/** The ticket under which the frame of this entry was recorded. */
export const ticketAt = (state: RunState, entryIndex: number): Ticket =>
  state.tickets.findLast(({ fromIndex }) => fromIndex < entryIndex)?.ticket ?? state.ticket

/** The jobs of all its tickets; one that several name stands once for each. */
export const jobsOf = (state: RunState): readonly FrozenJob[] => state.tickets.flatMap(({ frozen }) => frozen.jobs)
