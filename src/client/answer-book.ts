// What is known of the labels between sensor and head: expected, answered, revoked, settled at the point of no return, forgotten far
// behind it. Better skipped than wrong: whatever is not plainly a valid answer that came in time is a skip.
import type { Answer, FrameEvent, Revocation } from '../protocol/index.ts'
import { Deadlines } from './deadlines.ts'
import { type DueLabel, type Label, type SkipReason, skipReason } from './label.ts'

export interface BookOptions {
  /** Web travel behind the point of no return after which a label is forgotten; also how far the web may be backed up, mm. */
  readonly forgetAfterMm: number
  /** Labels kept at most; beyond, the oldest are given up as skip. */
  readonly labelsMax: number
  /** Travel past the point of no return in one step of the position up to which a label is still laid; default two pitches, mm. */
  readonly overrunMmMax?: number
  readonly onDue: (due: DueLabel) => void
}

/** Of the run, as the welcome says it. */
export interface Cells {
  readonly pitchMm: number
  readonly cells: readonly { readonly cell: number; readonly noReturnAfterMm: number }[]
  readonly cursor: number
}

/** Answers of before that are kept for frames sent again: more than ever lie between sensor and head. */
const historyMax = 8_192

/** Differences of less are the rounding of µm. */
const sameMm = 0.000_6

export class AnswerBook {
  private readonly options: BookOptions
  /** By frame and cell, oldest first. */
  private readonly labels = new Map<string, Label>()
  private readonly deadlines = new Deadlines<{ readonly label: Label; readonly atMm: number }>()
  /** Frames that were sent before the cells of the run were known. */
  private unplaced: FrameEvent[] = []
  private run: Cells | undefined
  /**
   * Answers from before this client first knew the run. The roll may have been threaded anew since, with another origin: they count
   * only for frames that are sent again, which says that these are the labels meant.
   */
  private readonly history = new Map<string, Answer>()
  /** Labels that were revoked before this book had them: whatever comes, they are skipped. */
  private readonly revokedUnseen = new Set<string>()
  private positionMm: number | undefined
  private highestMm = Number.NEGATIVE_INFINITY
  /** The highest frame of which something was forgotten: what is not in the book up to here is over. */
  private overUpTo = -1

  constructor(options: BookOptions) {
    this.options = options
  }

  get size(): number {
    return this.labels.size + this.unplaced.length + this.history.size + this.revokedUnseen.size
  }

  /** The first welcome counts; what it says does not change while a run lives. */
  begin(run: Cells): void {
    if (this.run) return
    this.run = run
    for (const event of this.unplaced.splice(0)) this.expect(event)
  }

  /** A frame that goes out: its labels will be settled at their points of no return, answered or not. */
  expect(event: FrameEvent): void {
    if (!this.run) {
      this.unplaced.push(event)
      if (this.unplaced.length > this.options.labelsMax) this.unplaced.shift()
      return
    }
    for (const { cell, noReturnAfterMm } of this.run.cells) {
      const key = keyOf(event.frame, cell)
      const known = this.labels.get(key)
      if (known) known.expected = true
      if (known || event.frame <= this.overUpTo) continue
      this.add({ frame: event.frame, cell, noReturnMm: event.positionMm + noReturnAfterMm, expected: true })
      const before = this.history.get(key)
      if (before) this.take(before)
      this.history.delete(key)
    }
  }

  /** `contradiction`: another answer to a label that has one; the label is then skipped. */
  take(answer: Answer): 'taken' | 'contradiction' {
    const { frame, cell, noReturnMm } = answer
    const known = this.labels.get(keyOf(frame, cell))
    if (!known) {
      if (frame <= this.overUpTo) return 'taken'
      if (answer.ledgerIndex <= (this.run?.cursor ?? -1)) return this.remember(answer)
      this.add({ frame, cell, noReturnMm, expected: false, answer })
      return 'taken'
    }
    if (answer.revokedBy !== undefined) known.revoked = true
    if (known.answer) {
      const same = known.answer.ledgerIndex === answer.ledgerIndex && known.answer.decision === answer.decision
      if (same) return 'taken'
      known.doubted = true
      return 'contradiction'
    }
    known.answer = answer
    if (Math.abs(known.noReturnMm - noReturnMm) > sameMm) {
      known.noReturnMm = noReturnMm
      this.watch(known)
    }
    return 'taken'
  }

  revoke({ frame, cell }: Revocation): void {
    const known = this.labels.get(keyOf(frame, cell))
    this.history.delete(keyOf(frame, cell))
    if (known) known.revoked = true
    else if (frame > this.overUpTo) keepAtMost(this.options.labelsMax, this.revokedUnseen.add(keyOf(frame, cell)))
  }

  /** The encoder. Settles every label whose point of no return was reached. */
  moveTo(mm: number): void {
    const { forgetAfterMm } = this.options
    if (mm < this.highestMm - forgetAfterMm) this.giveUp()
    const isFirst = this.positionMm === undefined
    this.positionMm = mm
    this.highestMm = Math.max(this.highestMm, mm)
    // Whether what lies behind the first position ever told passed just now or long ago, nobody knows.
    for (const due of this.deadlines.takeUpTo(mm)) this.settle(due, isFirst ? 'late' : this.overrun(due.label))
    this.forget()
  }

  /** Answers that came so far are no longer trusted for labels that are not settled; `but` names those that are. */
  doubt(but: (answer: Answer) => boolean = () => false): void {
    for (const label of this.labels.values()) {
      if (label.answer && label.settled === undefined && !but(label.answer)) label.doubted = true
    }
    for (const [key, answer] of this.history) if (!but(answer)) this.history.delete(key)
  }

  /** The origin of positions changed: nothing that is known of any label holds any more. */
  giveUp(): void {
    for (const due of this.deadlines.takeAll()) this.settle(due, 'doubted')
    for (const label of this.labels.values()) this.overUpTo = Math.max(this.overUpTo, label.frame)
    for (const { frame } of this.unplaced.splice(0)) this.overUpTo = Math.max(this.overUpTo, frame)
    this.labels.clear()
    this.revokedUnseen.clear()
    this.history.clear()
    this.positionMm = undefined
    this.highestMm = Number.NEGATIVE_INFINITY
  }

  /** The answer to lay by, or skip; `atMm` where the encoder is known better than it was told. */
  decide(frame: number, cell: number, atMm = this.positionMm): Answer | 'skip' {
    const label = this.labels.get(keyOf(frame, cell))
    if (!label?.answer || skipReason(label) !== undefined) return 'skip'
    if (label.settled !== undefined) return label.settled === 'lay' ? label.answer : 'skip'
    return atMm !== undefined && atMm < label.noReturnMm ? label.answer : 'skip'
  }

  private remember(answer: Answer): 'taken' {
    keepAtMost(historyMax, this.history.set(keyOf(answer.frame, answer.cell), answer))
    return 'taken'
  }

  private add(of: Pick<Label, 'frame' | 'cell' | 'noReturnMm' | 'expected' | 'answer'>): void {
    const key = keyOf(of.frame, of.cell)
    const revoked = this.revokedUnseen.delete(key) || of.answer?.revokedBy !== undefined
    const label: Label = { ...of, revoked, doubted: false }
    this.labels.set(key, label)
    this.watch(label)
    if (this.labels.size > this.options.labelsMax) this.dropOldest()
  }

  private watch(label: Label): void {
    const deadline = { label, atMm: label.noReturnMm }
    if (this.positionMm !== undefined && label.noReturnMm <= this.positionMm) this.settle(deadline, 'late')
    else this.deadlines.add(label.noReturnMm, deadline)
  }

  private overrun({ noReturnMm }: Label): SkipReason | undefined {
    const { overrunMmMax = 2 * (this.run?.pitchMm ?? 0) } = this.options
    return (this.positionMm ?? 0) - noReturnMm > overrunMmMax ? 'overrun' : undefined
  }

  private settle({ label, atMm }: { label: Label; atMm: number }, reason: SkipReason | undefined): void {
    // A deadline that was moved, or a label that is done.
    if (label.settled !== undefined || label.noReturnMm !== atMm) return
    const because = skipReason(label) ?? reason
    label.settled = because ?? 'lay'
    if (!label.expected && reason === 'late') return
    const { frame, cell, noReturnMm, answer } = label
    const positionMm = this.positionMm ?? noReturnMm
    const due = { frame, cell, noReturnMm, positionMm }
    if (because === undefined && answer) this.options.onDue({ ...due, decision: answer })
    else this.options.onDue({ ...due, decision: 'skip', because: because ?? 'no-answer' })
  }

  private forget(): void {
    const beforeMm = (this.positionMm ?? 0) - this.options.forgetAfterMm
    for (const label of this.labels.values()) {
      if (label.settled === undefined || label.noReturnMm > beforeMm) return
      this.drop(label)
    }
  }

  private dropOldest(): void {
    for (const label of this.labels.values()) {
      this.settle({ label, atMm: label.noReturnMm }, 'doubted')
      this.drop(label)
      return
    }
  }

  private drop(label: Label): void {
    this.labels.delete(keyOf(label.frame, label.cell))
    this.overUpTo = Math.max(this.overUpTo, label.frame)
  }
}

const keyOf = (frame: number, cell: number): string => `${frame}/${cell}`

function keepAtMost(count: number, of: Map<string, unknown> | Set<string>): void {
  for (const oldest of of.keys()) {
    if (of.size <= count) return
    of.delete(oldest)
  }
}
