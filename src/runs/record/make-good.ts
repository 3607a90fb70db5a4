// The make-good list: labels to make again, by their code where it is known, packed into frames as a sequence from the press is; those
// whose code nobody knows are counted by section.
import type { PlaceRange, WoundWeb } from '../finished-rolls.ts'
import { csvText } from './csv.ts'
import type { WebFold } from './fold.ts'
import type { LabelName, NameOf } from './label-names.ts'
import { joinSections, type Section } from './sections.ts'

export interface MakeGoodWith {
  readonly fold: WebFold
  readonly wound: WoundWeb
  readonly nameOf: NameOf
  /** Numbers of uses whose version was withdrawn. */
  readonly recalled: ReadonlySet<number>
  /** Jobs of the run; a label of another job is not for this order to make again. */
  readonly jobs: ReadonlySet<string>
  /** Which codes stand together: one a cell, a lane or the frame. */
  readonly identifies: 'cell' | 'lane' | 'frame'
  /** Where a serial was laid last and still stands; undefined: nowhere. */
  readonly laidAt: (identity: NonNullable<LabelName['identity']>, ordinal: number) => Label | undefined
  /** Codes that the ticket's sequence gives to labels that were not read. */
  readonly expected: ReadonlyMap<number, string>
}

export interface Label {
  readonly place: number
  readonly ordinal: number
}

/** A row of the sequence. */
export interface MakeGoodRow {
  /** Frame of the web to be printed, from 0. */
  readonly position: number
  readonly cell: number
  readonly code: string
}

export interface MakeGoodSummary {
  /** To make again: with a code, without one, and misprinted ones. */
  readonly labels: number
  readonly withCode: number
  readonly withoutCode: number
  /** Printed with a print version that no released version fits: their code must not be made again as it is. */
  readonly misprinted: number
  /** Of those with a code, the ones known from the ticket's sequence alone. */
  readonly fromSequence: number
  /** Laid though they have to be made again: their serials count as laid, so a run takes them for duplicates. */
  readonly laidOnce: number
  /** Not laid here and not to be made again: laid elsewhere on this run, a duplicate, or of a job that is not on the ticket. */
  readonly laidElsewhere: number
  readonly duplicates: number
  readonly ofOtherJobs: number
  /** Where the labels without a code were. */
  readonly sections: readonly UnknownSection[]
  /** Sections beyond those listed. */
  readonly sectionsMore: number
}

export interface UnknownSection {
  readonly firstFrame?: number
  readonly lastFrame?: number
  readonly positionMm: number
  readonly cells: readonly number[]
  readonly labels: number
}

const sectionsListedMax = 1_000

/** Places that ran: what lies on a rest is still to be run. */
const rangesRun = ({ rolls, cut }: WoundWeb): readonly PlaceRange[] => {
  const ranges = [...rolls.flatMap((roll) => roll.ranges), ...cut]
  const byPlace = new Map(ranges.map((range) => [range.firstPlace, range]))
  return [...byPlace.values()].toSorted((a, b) => a.firstPlace - b.firstPlace)
}

function* placesOf(ranges: readonly PlaceRange[]): Generator<number> {
  for (const { firstPlace, lastPlace } of ranges) for (let place = firstPlace; place <= lastPlace; place++) yield place
}

const holds = (ranges: readonly PlaceRange[], place: number): boolean =>
  ranges.some(({ firstPlace, lastPlace }) => place >= firstPlace && place <= lastPlace)

type Verdict = 'good' | 'again' | 'misprinted' | 'unknown' | 'laid elsewhere' | 'duplicate' | 'other job'

/** What is to be done about each label. Reads the ledger only for labels that are not laid as they should be. */
export class MakeGood {
  readonly given: MakeGoodWith
  private readonly ranges: readonly PlaceRange[]

  constructor(given: MakeGoodWith) {
    this.given = given
    this.ranges = rangesRun(given.wound)
  }

  private isGood({ place, ordinal }: Label): boolean {
    const { fold, wound, recalled } = this.given
    if (fold.labels.classOf(place, ordinal, holds(wound.cut, place)) !== 'laid') return false
    const use = fold.labels.use(place, ordinal)
    return use === undefined || !recalled.has(use)
  }

  private isNamed({ place, ordinal }: Label): boolean {
    return this.given.fold.labels.namedAt(place, ordinal) !== undefined
  }

  private expectedCode({ place, ordinal }: Label): string | undefined {
    return this.given.expected.get(place * this.given.fold.cells.length + ordinal)
  }

  // A serial stands once in the list, though it was printed twice: `met` has those that are in it.
  private async judge(label: Label, met: Set<string>): Promise<{ verdict: Verdict; code?: string }> {
    const { nameOf, jobs, laidAt, fold } = this.given
    if (this.isGood(label)) return { verdict: 'good' }
    const identity = this.isNamed(label) ? (await nameOf(label.place, label.ordinal))?.identity : undefined
    const code = identity?.text ?? this.expectedCode(label)
    if (code === undefined) return { verdict: 'unknown' }
    if (!identity) return { verdict: 'again', code }
    if (!jobs.has(identity.job)) return { verdict: 'other job' }
    const laid = laidAt(identity, label.ordinal)
    const isElsewhere = laid && (laid.place !== label.place || laid.ordinal !== label.ordinal)
    if (isElsewhere && this.isGood(laid)) return { verdict: 'laid elsewhere' }
    const flags = fold.labels.flagsOf(label.place, label.ordinal)
    if (flags.includes('duplicate')) return { verdict: 'duplicate' }
    if (flags.includes('print-version-mismatch')) return { verdict: 'misprinted' }
    if (identity.serial === undefined) return { verdict: 'again', code }
    const cell = this.given.identifies === 'cell' ? '' : label.ordinal
    const key = `${identity.job}\n${identity.serial}\n${cell}`
    if (met.has(key)) return { verdict: 'duplicate' }
    met.add(key)
    return { verdict: 'again', code }
  }

  // Set-up labels do not use their serials up.
  private countsAsLaid({ place, ordinal }: Label): boolean {
    const { labels } = this.given.fold
    return labels.fate(place, ordinal) === 'lay' && labels.classOf(place, ordinal) !== 'set-up'
  }

  // Cells whose codes stand together keep together.
  private groups(): readonly (readonly number[])[] {
    const { cells } = this.given.fold
    const keyOf = { cell: (i: number) => i, lane: (i: number) => cells[i]?.lane ?? 0, frame: () => 0 }[
      this.given.identifies
    ]
    const groups = new Map<number, number[]>()
    for (const ordinal of cells.keys()) groups.set(keyOf(ordinal), [...(groups.get(keyOf(ordinal)) ?? []), ordinal])
    return [...groups.values()]
  }

  private async *codesOf(
    group: readonly number[],
    met: Set<string>,
  ): AsyncGenerator<readonly { ordinal: number; code: string }[]> {
    for (const place of placesOf(this.ranges)) {
      const found: { ordinal: number; code: string }[] = []
      for (const ordinal of group) {
        if (this.isGood({ place, ordinal })) continue
        const { verdict, code } = await this.judge({ place, ordinal }, met)
        if (verdict === 'again' && code !== undefined) found.push({ ordinal, code })
      }
      if (found.length > 0) yield found
    }
  }

  /** Rows of a sequence: each label in its own cell, the cells of a frame filled up side by side. */
  async *rows(): AsyncGenerator<MakeGoodRow> {
    const { cells } = this.given.fold
    const met = new Set<string>()
    const queues = this.groups().map((group) => this.codesOf(group, met))
    for (let position = 0; ; position++) {
      const frame: { ordinal: number; code: string }[] = []
      for (const queue of queues) frame.push(...((await queue.next()).value ?? []))
      if (frame.length === 0) return
      for (const { ordinal, code } of frame.toSorted((a, b) => a.ordinal - b.ordinal)) {
        yield { position, cell: cells[ordinal]?.cell ?? 0, code }
      }
    }
  }

  /** The sequence as CSV. A code that a spreadsheet would run or alter is guarded; reading a sequence takes the guard off. */
  csv(): AsyncGenerator<string> {
    return csvText(['position', 'cell', 'code'], this.rows())
  }

  /** Labels of no known code, in sections along the web. */
  *unknownSections(): Generator<Section> {
    const ordinals = [...this.given.fold.cells.keys()]
    const reasonOf = (place: number, ordinal: number): string | undefined => {
      const label = { place, ordinal }
      if (this.isGood(label) || this.isNamed(label)) return undefined
      return this.expectedCode(label) === undefined ? 'unknown' : undefined
    }
    yield* joinSections({ places: placesOf(this.ranges), ordinals, reasonOf })
  }

  private sectionRow({ firstPlace, lastPlace, ordinals, frames }: Section): UnknownSection {
    const { web, cells } = this.given.fold
    const [firstFrame, lastFrame] = [web.frame(firstPlace), web.frame(lastPlace)]
    return {
      ...(firstFrame === undefined ? {} : { firstFrame }),
      ...(lastFrame === undefined ? {} : { lastFrame }),
      positionMm: web.positionUm(firstPlace) / 1000,
      cells: ordinals.map((ordinal) => cells[ordinal]?.cell ?? 0),
      labels: frames * ordinals.length,
    }
  }

  async summary(): Promise<MakeGoodSummary> {
    const counts = new Map<Verdict, number>()
    const met = new Set<string>()
    let [fromSequence, laidOnce] = [0, 0]
    for (const place of placesOf(this.ranges)) {
      for (const ordinal of this.given.fold.cells.keys()) {
        const label = { place, ordinal }
        if (this.isGood(label)) continue
        const { verdict } = await this.judge(label, met)
        counts.set(verdict, (counts.get(verdict) ?? 0) + 1)
        if (verdict !== 'again') continue
        if (!this.isNamed(label)) fromSequence++
        if (this.countsAsLaid(label)) laidOnce++
      }
    }
    const of = (verdict: Verdict): number => counts.get(verdict) ?? 0
    const sections: UnknownSection[] = []
    let sectionsMore = 0
    for (const section of this.unknownSections()) {
      if (sections.length < sectionsListedMax) sections.push(this.sectionRow(section))
      else sectionsMore++
    }
    return {
      labels: of('again') + of('unknown') + of('misprinted'),
      withCode: of('again'),
      withoutCode: of('unknown'),
      misprinted: of('misprinted'),
      fromSequence,
      laidOnce,
      laidElsewhere: of('laid elsewhere'),
      duplicates: of('duplicate'),
      ofOtherJobs: of('other job'),
      sections,
      sectionsMore,
    }
  }
}
