// Truth against ledger: every answer of the run is held against what stands on its label, and every label of the roll against what was
// laid on it.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { limits } from '../../kernel/limits.ts'
import type { Flag } from '../../kernel/terms.ts'
import type { Answer, Revocation } from '../../protocol/index.ts'
import { type Difference, type Differences, openDifferences } from './differences.ts'
import type { LineGeometry } from './geometry.ts'
import { byteColumn, type Logbook } from './logbook.ts'
import type { Material } from './material.ts'
import { openShiftFinder, type Shift } from './shift.ts'
import { countIn } from './stats.ts'
import type { TrueLabel } from './truth.ts'

export interface CompareParts {
  readonly book: Logbook
  readonly geometry: LineGeometry
  readonly material: Material
  /** Whether something was planted on the label that keeps it from being laid rightly. */
  readonly isPlanted: (place: number, cell: number) => boolean
  /** The ledger's answers and revocations behind an index, in order. */
  readonly pageAfter: (after: number) => Promise<{
    readonly answers: readonly Answer[]
    readonly revocations: readonly Revocation[]
    readonly cursor: number
  }>
}

export interface Compared {
  readonly differences: Differences
  readonly shift: Shift | undefined
  /** In the ledger. */
  readonly decisions: Readonly<Record<Answer['decision'], number>>
  readonly flags: Readonly<Partial<Record<Flag, number>>>
  readonly revocations: number
  /** Labels of the roll: laid, skipped because of what was planted, with nothing of their own. */
  readonly labels: { readonly all: number; readonly laid: number; readonly planted: number; readonly noLayer: number }
  /** Why labels that could be laid were not. */
  readonly missedBecause: Readonly<Record<string, number>>
}

/** Why a label was not laid, by its last answer. */
const unknown = 'no-answer'

class Comparison {
  readonly differences = openDifferences()
  readonly shifts = openShiftFinder()
  readonly decisions = { lay: 0, skip: 0, stop: 0 }
  readonly flags: Record<string, number> = {}
  readonly missedBecause: Record<string, number> = {}
  readonly counts = { all: 0, laid: 0, planted: 0, noLayer: 0 }
  revocations = 0
  private readonly parts: CompareParts
  private readonly ordinals: ReadonlyMap<number, number>
  /** By label of the roll: times laid, and one higher than the reason why not. */
  private readonly laidTimes = byteColumn()
  private readonly whyNot = byteColumn()
  private readonly reasons: string[] = [unknown]
  /** By label of the ledger: whether its answer was seen. */
  private readonly seen = byteColumn()

  constructor(parts: CompareParts) {
    this.parts = parts
    this.ordinals = new Map(parts.geometry.cells.map(({ cell }, ordinal) => [cell, ordinal]))
  }

  private slot(place: number, ordinal: number): number {
    return place * this.ordinals.size + ordinal
  }

  private tell(kind: Difference['kind'], at: { frame?: number; cell: number; place: number }, detail: string): void {
    const positionMm = at.place < 0 ? 0 : this.parts.material.markMm(at.place)
    this.differences.add({ kind, ...at, positionMm, detail })
  }

  take(answer: Answer): void {
    const { book } = this.parts
    const { frame, cell, ledgerIndex } = answer
    const ordinal = this.ordinals.get(cell) ?? 0
    const place = book.placeOf(frame)
    const at = { frame, cell, place }
    this.decisions[answer.decision] += 1
    for (const flag of answer.flags) countIn(this.flags, flag)
    const slot = this.slot(frame, ordinal)
    if (this.seen.get(slot) > 0) this.tell('doubled-answer', at, `entry ${ledgerIndex} is another answer to it`)
    this.seen.set(slot, 1)
    const received = book.answerOf(frame, ordinal)
    if (received < 0) this.tell('lost-answer', at, `entry ${ledgerIndex} was never received`)
    else if (received !== ledgerIndex)
      this.tell('doubled-answer', at, `entry ${received} was received, entry ${ledgerIndex} is in the ledger`)
    if (place >= 0) this.holdAgainst(answer, { at, ordinal })
  }

  private holdAgainst(
    answer: Answer,
    { at, ordinal }: { at: { frame: number; cell: number; place: number }; ordinal: number },
  ): void {
    const { material, book } = this.parts
    const { frame, cell, place } = at
    const label = material.labelAt(place, cell)
    const isLaid = book.laidBy(frame, ordinal) === answer.ledgerIndex
    if (answer.identity) this.holdCode(answer.identity, at, label)
    if (isLaid) {
      const times = this.laidTimes.get(this.slot(place, ordinal)) + 1
      this.laidTimes.set(this.slot(place, ordinal), times)
      if (times > 1) this.tell('double-lay', at, `laid for the ${times}. time`)
      const wrong = wrongLay(answer, label)
      if (wrong !== undefined) this.tell('wrong-lay', at, wrong)
      if (answer.revokedBy !== undefined) this.tell('laid-though-revoked', at, `by entry ${answer.revokedBy}`)
    } else this.noteWhyNot(answer, this.slot(place, ordinal), book.skippedBecause(frame, ordinal))
  }

  private holdCode(
    { text }: NonNullable<Answer['identity']>,
    at: { frame: number; cell: number; place: number },
    label: TrueLabel | undefined,
  ): void {
    const { material } = this.parts
    const { frame, cell, place } = at
    this.shifts.take({
      frame,
      text,
      textAt: (frames) => (place + frames < 0 ? undefined : material.labelAt(place + frames, cell)?.text),
    })
    if (text !== label?.text) this.tell('wrong-code', at, `${text} where ${label?.text ?? 'nothing'} stands`)
  }

  private noteWhyNot({ decision, flags }: Answer, slot: number, skipped: string | undefined): void {
    const reason = decision === 'lay' ? (skipped ?? 'not-laid') : (flags[0] ?? decision)
    let at = this.reasons.indexOf(reason)
    if (at < 0) at = this.reasons.push(reason) - 1
    this.whyNot.set(slot, at)
  }

  /** Every frame that was accepted has its answers. */
  async sweepFrames(): Promise<void> {
    const { book, geometry } = this.parts
    for (let frame = 0; frame < book.frames; frame++) {
      if (frame % 4_096 === 0) await turnOfTheLoop()
      if (book.frameState(frame) !== 'accepted') continue
      for (const [ordinal, { cell }] of geometry.cells.entries()) {
        if (this.seen.get(this.slot(frame, ordinal)) > 0) continue
        this.tell(
          'lost-answer',
          { frame, cell, place: book.placeOf(frame) },
          'the frame was accepted, and the ledger has no answer',
        )
      }
    }
  }

  /** Every label of the roll was laid, or there is a reason why not. */
  async sweepRoll(lastPlace: number): Promise<void> {
    const { material, geometry } = this.parts
    for (let place = 0; place <= lastPlace; place++) {
      if (place % 1_024 === 0) await turnOfTheLoop()
      for (const [ordinal, { cell }] of geometry.cells.entries())
        this.sweepLabel({ place, cell }, ordinal, material.labelAt(place, cell))
    }
  }

  private sweepLabel(at: { place: number; cell: number }, ordinal: number, label: TrueLabel | undefined): void {
    const { counts } = this
    const slot = this.slot(at.place, ordinal)
    counts.all += 1
    if (this.laidTimes.get(slot) > 0) counts.laid += 1
    else if (!label?.own || label.own.digests.size === 0) counts.noLayer += 1
    else if (this.parts.isPlanted(at.place, at.cell)) counts.planted += 1
    else {
      const reason = this.reasons[this.whyNot.get(slot)] ?? unknown
      countIn(this.missedBecause, reason)
      this.tell('missed-lay', at, reason)
    }
  }
}

function wrongLay({ identity, layers }: Answer, label: TrueLabel | undefined): string | undefined {
  const own = label?.own
  const said = `${identity?.job ?? '–'} ${identity?.design ?? '–'} v${identity?.version ?? '–'}`
  if (!own) return `${said}, where nothing may be laid`
  const strange = layers.filter(({ digest }) => !own.digests.has(digest))
  if (strange.length === 0 && layers.length === own.digests.size) return undefined
  return `${said}, where ${own.job} ${own.design} v${own.version} belongs`
}

/** Goes through the ledger and the roll, up to the last place that came to the sensor. */
export async function compare(parts: CompareParts, lastPlace: number): Promise<Compared> {
  const comparison = new Comparison(parts)
  for (let after = -1; ; ) {
    const { answers, revocations, cursor } = await parts.pageAfter(after)
    for (const answer of answers) comparison.take(answer)
    comparison.revocations += revocations.length
    if (cursor === after) break
    after = cursor
  }
  await comparison.sweepFrames()
  await comparison.sweepRoll(lastPlace)
  const { differences, shifts, decisions, flags, counts: labels, missedBecause, revocations } = comparison
  return { differences, shift: shifts.found(), decisions, flags, labels, missedBecause, revocations }
}

/** Of a page of the ledger. */
export const pageCount = limits.answersPerPageMax
