// What a run did with each label, as a fold over its entries: for its snapshot when it ends, and kept up while a later pass of the
// same labels runs beside it. The state of places is the run's own; here is only which serial was seen where, and what was answered.
import { openSerialSet, type SerialSet } from '../codes/index.ts'
import { assert } from '../kernel/assert.ts'
import { placeIndex } from '../kernel/terms.ts'
import type { Entry, EntryBodies } from '../ledger/index.ts'
import { joined, OutcomeTable, type PassOutcome } from './earlier-pass-outcomes.ts'
import { isCutOut } from './finished-rolls.ts'
import type { RunState } from './state.ts'

// A tag is the slot (place × cells + ordinal) where the serial was seen, with two bits above it.
const slotBits = 30
const slotsMax = 2 ** slotBits
const slotMask = slotsMax - 1
/** Seen where the count of frames or the text was in doubt, so what lies there may lie on another: a sighting elsewhere takes its place. */
const loose = slotsMax
/** Seen at two places of the material, so on two labels. */
const twice = 2 * slotsMax

const isSeen = 1
/** Reported `part`, `unknown`, or against what was answered. */
const isMarred = 2

type Slots = Pick<RunState, 'cells' | 'places' | 'frames' | 'tickets' | 'tracker' | 'material' | 'pitchUm'>

/** What a run did with its labels: serials with the numbers of their outcomes, by job. */
export interface RunOutcomes {
  /** Labels of the material that were answered, and those of them that no serial ties to another pass. */
  readonly labels: number
  readonly untied: number
  readonly rows: readonly PassOutcome[]
  readonly sets: ReadonlyMap<string, SerialSet>
}

export class OutcomeFold {
  /** The run's, as it is now; another object once the run was opened again. */
  state: Slots
  /** Ledger index of the entry that comes next. */
  next = 0
  readonly #table = new OutcomeTable()
  readonly #sets = new Map<string, SerialSet>()
  #labels = 0
  #tied = 0
  /** By slot: the number of what was answered, plus one; 0 where no serial was read. */
  #answered = new Uint32Array(4096)
  #marks = new Uint8Array(4096)
  /** First places since each re-threading. */
  readonly #threads: number[] = []
  #threading = false

  constructor(state: Slots) {
    this.state = state
  }

  /** Takes up the entry that comes next. */
  take(entry: Entry): void {
    assert(entry.index === this.next, 'entries are taken up in order')
    this.next++
    if (entry.type === 'answer') this.#takeAnswer(entry.body, entry.index)
    else if (entry.type === 'laid') this.#takeReport(entry.body)
    else if (entry.type === 'frame') this.#takeFrame(entry.body)
    else if (entry.type === 'material' && entry.body.event === 're-thread') this.#threading = true
  }

  #takeFrame({ place }: EntryBodies['frame']): void {
    if (!this.#threading) return
    this.#threading = false
    this.#threads.push(place)
  }

  #slotOf(place: number, ordinal: number): number {
    const slot = place * this.state.cells.length + ordinal
    assert(ordinal >= 0 && slot < slotsMax, 'a slot fits its bits')
    while (slot >= this.#marks.length) {
      const size = this.#marks.length * 2
      const [marks, answered] = [new Uint8Array(size), new Uint32Array(size)]
      marks.set(this.#marks)
      answered.set(this.#answered)
      this.#marks = marks
      this.#answered = answered
    }
    return slot
  }

  /** The roll of the ticket that a frame was recorded under. */
  #rollOf(frame: number): string {
    const { tickets, frames } = this.state
    const entryIndex = frames.get(frame)?.entryIndex ?? 0
    return (tickets.findLast(({ fromIndex }) => fromIndex < entryIndex) ?? tickets[0])?.ticket.roll ?? ''
  }

  #mark(slot: number, bit: number): void {
    this.#marks[slot] = (this.#marks[slot] ?? 0) | bit
  }

  #takeAnswer(body: EntryBodies['answer'], index: number): void {
    const { place, identity, decision, flags } = body
    const ordinal = this.state.cells.findIndex(({ cell }) => cell === body.cell)
    const slot = this.#slotOf(place, ordinal)
    if (((this.#marks[slot] ?? 0) & isSeen) === 0) this.#labels++
    this.#mark(slot, isSeen)
    if (identity?.serial === undefined) return
    const { job, serial, design, version } = identity
    const known = this.#answered[slot] ?? 0
    if (known === 0) this.#tied++
    const isStanding = this.state.places.answer(place, ordinal) === index
    if (known === 0 || decision === 'lay' || isStanding) {
      const did = decision !== 'lay' ? 'skipped' : body.setup ? 'set-up' : 'laid'
      const bare = decision === 'lay' && body.layers.length === 0
      const outcome: PassOutcome = {
        did,
        roll: this.#rollOf(body.frame),
        design,
        ...(version === undefined ? {} : { version }),
        ...(bare ? { bare: 1 } : {}),
        ...(did === 'skipped' && flags.includes('duplicate') ? { twin: 1 } : {}),
      }
      this.#answered[slot] = this.#table.numberOf(outcome) + 1
    }
    const set = this.#sets.get(job) ?? openSerialSet()
    this.#sets.set(job, set)
    const cell = this.state.cells[ordinal]?.serialCell
    const former = set.get(serial, cell)
    const sighting = slot | (flags.includes('out-of-sequence') ? loose : 0)
    const tag = former === undefined ? sighting : this.#together(former, sighting)
    if (tag !== former) set.add(serial, tag, cell)
  }

  /** The tag of a serial that is seen again. */
  #together(former: number, sighting: number): number {
    const [before, now] = [former & slotMask, sighting & slotMask]
    if (former >= twice) return former
    if (before === now) return former & sighting
    if (sighting & loose) return former
    if (former & loose) return sighting
    if (this.#threadOf(before) === this.#threadOf(now)) return former + twice
    const [a, b] = [this.#outcomeAt(before), this.#outcomeAt(now)]
    const both = joined(a, b)
    if (both.did === 'unclear') return former + twice
    return both === a ? former : sighting
  }

  #threadOf(slot: number): number {
    const place = Math.floor(slot / this.state.cells.length)
    return this.#threads.filter((first) => first <= place).length
  }

  #takeReport({ frame: number, cell: cellNumber, laid }: EntryBodies['laid']): void {
    const frame = this.state.frames.get(number)
    const ordinal = this.state.cells.findIndex(({ cell }) => cell === cellNumber)
    assert(frame?.answersAt !== undefined && ordinal >= 0, 'a laid report is for an answered label')
    const { place } = frame
    const isLaid =
      this.state.places.state(place, ordinal) === 'lay' &&
      this.state.places.answer(place, ordinal) === frame.answersAt + ordinal
    if (laid === 'none' || (laid === 'full' && isLaid)) return
    this.#mark(this.#slotOf(place, ordinal), isMarred)
  }

  /** How what was answered at a slot is to be read now. */
  #shadeAt(slot: number): Shade {
    if (((this.#marks[slot] ?? 0) & isMarred) !== 0) return 'marred'
    const { cells, places } = this.state
    const ordinal = slot % cells.length
    return places.state((slot - ordinal) / cells.length, ordinal) === 'lay' ? 'as answered' : 'skipped'
  }

  #rowAt(slot: number): PassOutcome {
    const row = this.#table.rows[(this.#answered[slot] ?? 0) - 1]
    assert(row, 'a serial was answered where it was seen')
    return row
  }

  #outcomeAt(slot: number): PassOutcome {
    return shaded(this.#rowAt(slot), this.#shadeAt(slot))
  }

  #outcomeOf(tag: number): PassOutcome {
    const outcome = this.#outcomeAt(tag & slotMask)
    const isUnclear = tag >= twice || (tag >= loose && outcome.did !== 'skipped')
    return isUnclear ? { ...outcome, did: 'unclear' } : outcome
  }

  /** Which slots were taken out of the web after laying. */
  #cutSlots(): (slot: number) => boolean {
    const { material, tracker, pitchUm, cells } = this.state
    const cuts = material.flatMap(({ stretch, body: { event, positionUm = 0, toPositionUm } }) =>
      event === 'cut-out' && toPositionUm !== undefined ? [{ stretch, fromUm: positionUm, toUm: toPositionUm }] : [],
    )
    // A re-threading before the first frame begins no second stretch.
    const first = this.#threads[0] === 0 ? 1 : 0
    return (slot) => {
      if (cuts.length === 0) return false
      const fromUm = tracker.positionUm(placeIndex(Math.floor(slot / cells.length)))
      if (fromUm === undefined) return false
      const stretch = this.#threadOf(slot) - first
      return isCutOut(
        { fromUm, toUm: fromUm + pitchUm },
        cuts.filter((cut) => cut.stretch === stretch),
      )
    }
  }

  /** What the run has done with a label so far. */
  outcome(job: string, serial: string, cell: number | undefined): PassOutcome | undefined {
    const tag = this.#sets.get(job)?.get(serial, cell)
    return tag === undefined ? undefined : this.#outcomeOf(tag)
  }

  /** Ends the fold: from now on its sets hold numbers of outcomes. Nothing more can be taken up. */
  settle(): RunOutcomes {
    this.next = Number.NaN
    const table = new OutcomeTable()
    const isCut = this.#cutSlots()
    // Labels are many and kinds few: each is worked out once.
    const known = new Map<number, number>()
    const numberOf = (tag: number): number => {
      const slot = tag & slotMask
      const shade = shades.indexOf(this.#shadeAt(slot))
      const cut = tag < twice && isCut(slot) ? 1 : 0
      const kind = (this.#answered[slot] ?? 0) * 32 + cut * 16 + shade * 4 + Math.floor(tag / slotsMax)
      const number = known.get(kind) ?? table.numberOf({ ...this.#outcomeOf(tag), ...(cut ? { cut } : {}) })
      known.set(kind, number)
      return number
    }
    for (const set of this.#sets.values()) set.retag(numberOf)
    return { labels: this.#labels, untied: this.#labels - this.#tied, rows: table.rows, sets: this.#sets }
  }
}

const shades = ['as answered', 'skipped', 'marred'] as const
type Shade = (typeof shades)[number]

function shaded(row: PassOutcome, shade: Shade): PassOutcome {
  const { roll, design, version } = row
  const skipped: PassOutcome = { did: 'skipped', roll, design, ...(version === undefined ? {} : { version }) }
  if (shade === 'marred') return { ...skipped, did: 'unclear' }
  return shade === 'skipped' && row.did !== 'skipped' ? skipped : row
}
