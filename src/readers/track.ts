// Joins the lines of a run's readers to its frames by position. A line belongs to the frame whose place under the reader is nearest to
// where the web was when the line came, if it is near enough whatever the web did in between; else it waits for the next position,
// and is dropped when that does not help. A frame is given to the run when all its lines came, or its last place has passed.
import type { AwaitingRun } from '../runs/index.ts'
import { Encoder, type WebPosition } from './encoder.ts'
import { noteOff, type PlaceTally, type PortTally } from './tallies.ts'

/** A place that a reader speaks for. */
export interface Spot {
  readonly lane?: number | undefined
  readonly cell?: number | undefined
  readonly symbology?: string | undefined
  readonly offsetUm: number
  readonly toleranceUm?: number | undefined
  readonly tally: PlaceTally
  /** The port that its lines come from. */
  readonly port: object
}

export interface ReaderLine {
  readonly port: object
  readonly tally: PortTally
  /** Absent: the reader read nothing. */
  readonly text?: string
  readonly atMs: number
  /** How much earlier it may have come. */
  readonly withinMs: number
}

type Read = Parameters<AwaitingRun['readsArrived']>[1][number]

interface FrameNote {
  readonly frame: number
  readonly positionUm: number
  readonly awaited: readonly Spot[]
  readonly got: Map<Spot, Read[]>
  given: boolean
}

/** What a read speaks for. */
interface Place {
  readonly cell?: number | null | undefined
  readonly lane?: number | null | undefined
}

const framesMax = 128
const linesMax = 256
/** Of a pitch: between the windows of two frames as much is left free, so that a lag which grows is seen before it shifts by one. */
const toleranceShare = 1 / 3

type Fit = { readonly note: FrameNote; readonly spot: Spot; readonly offUm: number }

// A frame that brings a read of its own for a place, or for its lane, awaits none from the reader there.
function isSpokenFor(spot: Spot, reads: readonly Place[], cells: AwaitingRun['state']['cells']): boolean {
  const laneOf = (cell: number | null | undefined) => cells.find((row) => row.cell === cell)?.lane
  const { cell, lane } = spot
  if (cell === undefined && lane === undefined) return reads.length > 0
  return reads.some((read) =>
    read.cell == null
      ? read.lane === (lane ?? laneOf(cell))
      : cell === undefined
        ? laneOf(read.cell) === lane
        : read.cell === cell,
  )
}

export class Track {
  private run: AwaitingRun
  private spots: readonly Spot[] = []
  private readonly configured: readonly Spot[]
  private readonly encoder = new Encoder()
  /** Newest last. */
  private readonly notes = new Map<number, FrameNote>()
  private held: ReaderLine[] = []

  constructor(run: AwaitingRun, configured: readonly Spot[]) {
    this.configured = configured
    this.run = run
    this.follow(run)
  }

  get runId(): string {
    return this.run.runId
  }

  /** The same run, perhaps opened again from its ledger. Readers of places that its roll does not have are left out. */
  follow(run: AwaitingRun): void {
    this.run = run
    const { cells } = run.state
    this.spots = this.configured.filter(
      ({ lane, cell }) =>
        (lane === undefined || cells.some((row) => row.lane === lane)) &&
        (cell === undefined || cells.some((row) => row.cell === cell)),
    )
  }

  /** Takes note of a frame that is being recorded. Returns whether lines for it are to come. */
  awaits(frame: number, positionUm: number, reads: readonly Place[]): boolean {
    const awaited = this.spots.filter((spot) => !isSpokenFor(spot, reads, this.run.state.cells))
    this.notes.set(frame, { frame, positionUm, awaited, got: new Map(), given: awaited.length === 0 })
    for (const oldest of this.notes.keys()) {
      if (this.notes.size <= framesMax) break
      this.notes.delete(oldest)
    }
    return awaited.length > 0
  }

  moved(at: { readonly positionUm: number; readonly atMs: number; readonly withinMs: number }): void {
    this.encoder.note(at)
    this.step()
  }

  line(line: ReaderLine): void {
    this.held.push(line)
    if (this.held.length > linesMax) {
      const dropped = this.held.shift()
      if (dropped) dropped.tally.stray++
    }
    this.step()
  }

  /** Gives what there is to every frame that waits, and forgets positions: those to come may have another origin. */
  settle(): void {
    for (const note of this.waiting()) this.give(note)
    for (const line of this.held) line.tally.stray++
    this.held = []
    this.notes.clear()
    this.encoder.restart()
  }

  private step(): void {
    this.held = this.held.filter((line) => !this.place(line))
    this.giveWhole()
  }

  private toleranceUm(spot: Spot): number {
    const { pitchUm } = this.run.state
    const sharing = this.spots.filter(({ port }) => port === spot.port).length
    return Math.min(spot.toleranceUm ?? (pitchUm * toleranceShare) / sharing, pitchUm / 2)
  }

  private nearest(line: ReaderLine, at: WebPosition): Fit | undefined {
    let best: Fit | undefined
    for (const note of this.notes.values()) {
      for (const spot of this.spots) {
        if (spot.port !== line.port) continue
        const offUm = at.positionUm - note.positionUm - spot.offsetUm
        // Of two sightings of one place, the later one.
        if (!best || Math.abs(offUm) <= Math.abs(best.offUm)) best = { note, spot, offUm }
      }
    }
    return best
  }

  /** Whether the line was dealt with; else it waits. */
  private place(line: ReaderLine): boolean {
    const at = this.encoder.at(line)
    if (!at) return false
    const fit = this.nearest(line, at)
    if (fit && Math.abs(fit.offUm) + at.errorUm <= this.toleranceUm(fit.spot)) {
      this.join(line, fit)
      return true
    }
    if (!at.settled || this.mayBeAhead(line, at)) return false
    line.tally.stray++
    return true
  }

  // Whether the line's frame may not have been announced yet: its reader stands before the trigger, or the event is on its way.
  private mayBeAhead(line: ReaderLine, at: WebPosition): boolean {
    if (at.errorUm === Number.POSITIVE_INFINITY) return false
    const newest = [...this.notes.values()].at(-1)
    const spots = this.spots.filter(({ port }) => port === line.port)
    return spots.some((spot) => {
      const markUm = at.positionUm - spot.offsetUm
      return newest === undefined || newest.positionUm < markUm - this.toleranceUm(spot)
    })
  }

  private join(line: ReaderLine, { note, spot, offUm }: Fit): void {
    const { tally } = spot
    if (!note.awaited.includes(spot)) {
      line.tally.stray++
      return
    }
    const before = note.got.get(spot)
    if (before) {
      tally.doubled++
      if (before.every(({ text }) => text === line.text)) return
      tally.contradicting++
      if (!note.given) before.push(readOf(spot, line.text))
      return
    }
    if (note.given || !this.isWaiting(note)) {
      tally.late++
      return
    }
    noteOff(tally, offUm)
    if (line.text === undefined) tally.noRead++
    else tally.read++
    note.got.set(spot, [readOf(spot, line.text)])
  }

  private isWaiting({ frame }: FrameNote): boolean {
    const { waiting } = this.run.state
    return waiting.has(frame) && waiting.get(frame) === undefined
  }

  private waiting(): readonly FrameNote[] {
    const notes: FrameNote[] = []
    for (const [frame, reads] of this.run.state.waiting) {
      const record = this.run.state.frames.get(frame)
      if (reads !== undefined || !record?.awaits) continue
      // After a restart: what it awaited then is not known any more.
      if (!this.notes.has(frame)) this.awaits(frame, record.positionUm, record.given ?? [])
      const note = this.notes.get(frame)
      if (note) notes.push(note)
    }
    return notes
  }

  private giveWhole(): void {
    for (const note of this.waiting()) if (this.isWhole(note)) this.give(note)
    // Those that the run answered by itself, since they came to their point of no return.
    for (const note of this.notes.values()) if (!note.given && !this.isWaiting(note)) this.close(note)
  }

  private isWhole(note: FrameNote): boolean {
    const newestUm = this.encoder.newestUm ?? Number.NEGATIVE_INFINITY
    return note.awaited.every(
      (spot) => note.got.has(spot) || newestUm > note.positionUm + spot.offsetUm + this.toleranceUm(spot),
    )
  }

  private give(note: FrameNote): void {
    const reads = note.awaited.flatMap((spot) => note.got.get(spot) ?? [readOf(spot, undefined)])
    this.close(note)
    this.run.readsArrived(note.frame, reads)
  }

  private close(note: FrameNote): void {
    note.given = true
    for (const spot of note.awaited) if (!note.got.has(spot)) spot.tally.missing++
  }
}

function readOf({ lane, cell, symbology }: Spot, text: string | undefined): Read {
  const read: Read = {}
  if (cell !== undefined) read.cell = cell
  if (lane !== undefined) read.lane = lane
  if (text === undefined) return read
  read.text = text
  if (symbology !== undefined) read.symbology = symbology
  return read
}
