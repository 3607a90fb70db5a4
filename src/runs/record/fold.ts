// One pass over a run's ledger, folded into what the roll record is worked out from: the web, its labels, the events of the material.
import type { Entry } from '../../ledger/index.ts'
import { type MaterialRow, standingEvents } from '../finished-rolls.ts'
import { stretchOf, stretchOn } from '../material.ts'
import type { StretchesSoFar } from '../material-record.ts'
import { LabelTable } from './label-table.ts'
import { WebMarks } from './web-marks.ts'

/** What is known of a frame: where it lies, and where the answers to its labels begin. */
interface FrameKnown {
  readonly place: number
  readonly answersAt?: number
}

export interface FoldOver {
  readonly pitchUm: number
  /** In order of answers. */
  readonly cells: readonly { readonly cell: number; readonly lane: number }[]
  readonly frameKnown: (frame: number) => FrameKnown | undefined
}

interface OpenedTicket {
  readonly ticket: string
  readonly roll: string
  readonly pass: number
  readonly expectedFrames?: number
}

export class WebFold {
  readonly web: WebMarks
  readonly labels: LabelTable
  readonly cells: FoldOver['cells']
  /** Lanes, rising. */
  readonly lanes: readonly number[]
  readonly material: MaterialRow[] = []
  /** As the run has them, so that a position means the same web here as where the event was taken. One a threading. */
  private readonly run: StretchesSoFar
  /** Of each place, ledger index + 1 of what was read there last. */
  private reads = new Int32Array(1024)
  private readonly over: FoldOver
  private readonly ordinals: ReadonlyMap<number, number>

  constructor(over: FoldOver) {
    this.over = over
    this.cells = over.cells
    this.lanes = [...new Set(over.cells.map(({ lane }) => lane))].toSorted((a, b) => a - b)
    this.web = new WebMarks(over.pitchUm)
    this.run = { pitchUm: over.pitchUm, stretches: [], stretchEnded: true }
    this.labels = new LabelTable(over.cells.length)
    this.ordinals = new Map(over.cells.map(({ cell }, ordinal) => [cell, ordinal]))
  }

  take(entry: Entry): void {
    if (entry.type === 'frame') this.frame(entry)
    else if (entry.type === 'reads') this.noteReads(this.over.frameKnown(entry.body.frame)?.place, entry.index)
    else if (entry.type === 'answer') {
      const ordinal = this.ordinals.get(entry.body.cell)
      if (ordinal !== undefined) this.labels.answer(entry.body, { index: entry.index, ordinal })
    } else if (entry.type === 'revocation' || entry.type === 'laid') this.afterwards(entry)
    else if (entry.type === 'material') this.event(entry)
    else if (entry.type === 'step' && entry.body.ticket) {
      const { ticket, roll, pass, expectedFrames } = JSON.parse(entry.body.ticket) as OpenedTicket
      this.web.under({ ticket, roll, pass, ...(expectedFrames === undefined ? {} : { expectedFrames }) })
    }
  }

  private frame({ body, index }: Entry & { type: 'frame' }): void {
    this.web.take(body)
    stretchOn(this.run, body.positionUm)
    if (body.reads) this.noteReads(body.place, index)
  }

  private noteReads(place: number | undefined, index: number): void {
    if (place === undefined) return
    if (place >= this.reads.length) {
      const reads = new Int32Array(Math.max(place + 1, this.reads.length * 2))
      reads.set(this.reads)
      this.reads = reads
    }
    this.reads[place] = index + 1
  }

  private afterwards(entry: Entry & { type: 'revocation' | 'laid' }): void {
    const known = this.over.frameKnown(entry.body.frame)
    const ordinal = this.ordinals.get(entry.body.cell)
    if (!known || known.answersAt === undefined || ordinal === undefined) return
    const at = { place: known.place, ordinal, index: known.answersAt + ordinal }
    if (entry.type === 'revocation') this.labels.revocation(entry.body, at)
    else this.labels.laid(entry.body.laid, at)
  }

  private event({ body, index }: Entry & { type: 'material' }): void {
    const threading = stretchOf(this.run, body.positionUm ?? Number.NaN)
    this.material.push({ ...body, index, placesThen: this.web.places, threading })
    if (body.event !== 're-thread') return
    // Whether it was voided later is not known yet: positions leaped all the same where it was recorded.
    this.web.rethread()
    this.run.stretchEnded = true
  }

  /** Frames that events which stand say were missing before the sensor. */
  missingFrames(): number {
    const before = standingEvents(this.material).filter(({ toPositionUm }) => toPositionUm === undefined)
    return before.reduce((sum, { frames }) => sum + (frames ?? 0), 0)
  }

  placeOf(frame: number): number | undefined {
    return this.over.frameKnown(frame)?.place
  }

  /** Ledger index of the entry that holds what was read at a place last. */
  readsAt(place: number): number | undefined {
    const at = this.reads[place]
    return at ? at - 1 : undefined
  }
}
