// Reconciliation of labels, such as 21 CFR 211.125 asks for (named from memory): in = laid + skipped + set-up + spoiled + unaccounted,
// over the run, each finished roll, what was taken out, and each design.
import type { FinishedRoll, PlaceRange, WoundWeb } from '../finished-rolls.ts'
import type { WebFold } from './fold.ts'
import { type LabelClass, labelClasses } from './label-table.ts'

/** Labels by class. `difference` is `in` less all classes: 0, or the counting itself is wrong. */
export interface Tally {
  readonly in: number
  readonly laid: number
  readonly skipped: number
  readonly setUp: number
  readonly spoiled: number
  readonly unaccounted: number
  readonly difference: number
}

export interface Expected {
  /** Labels that the tickets state: frames expected × cells. */
  readonly labels: number
  /** Recorded as missing from the web before the sensor. */
  readonly missing: number
  /** Expected, not seen, and not among the missing; below zero where more came. A ticket may count the missing ones or not. */
  readonly difference: number
}

export interface Reconciliation {
  readonly run: Tally & { readonly expected?: Expected; readonly passedUnseen: number }
  readonly rolls: readonly (Tally & { readonly roll: string; readonly lanes?: readonly number[] })[]
  /** Taken out after laying. */
  readonly cutOut: Tally
  /** Seen, but left on a rest that was not run. */
  readonly rests: readonly (Tally & { readonly roll: string })[]
  /** A design is absent where no job knew the label. */
  readonly designs: readonly (Tally & { readonly job?: string; readonly design?: string })[]
}

type Counts = Map<LabelClass, number>

const put = (counts: Counts, kind: LabelClass): void => void counts.set(kind, (counts.get(kind) ?? 0) + 1)

function tally(labels: number, counts: Counts): Tally {
  const of = (kind: LabelClass): number => counts.get(kind) ?? 0
  const sum = labelClasses.reduce((total, kind) => total + of(kind), 0)
  return {
    in: labels,
    laid: of('laid'),
    skipped: of('skipped'),
    setUp: of('set-up'),
    spoiled: of('spoiled'),
    unaccounted: of('unaccounted'),
    difference: labels - sum,
  }
}

const placesIn = (ranges: readonly PlaceRange[]): number =>
  ranges.reduce((sum, { firstPlace, lastPlace }) => sum + lastPlace - firstPlace + 1, 0)

/** Counts labels of ranges into the tallies of the run and of the designs as well. */
class Counting {
  readonly run: Counts = new Map()
  readonly designs = new Map<string, { readonly counts: Counts; labels: number; job?: string; design?: string }>()
  private readonly fold: WebFold

  constructor(fold: WebFold) {
    this.fold = fold
  }

  over(
    ranges: readonly PlaceRange[],
    { lanes, cut = false }: { lanes?: readonly number[]; cut?: boolean } = {},
  ): Tally {
    const { cells, labels } = this.fold
    const counts: Counts = new Map()
    const ordinals = cells.flatMap(({ lane }, ordinal) => (!lanes || lanes.includes(lane) ? [ordinal] : []))
    for (const { firstPlace, lastPlace } of ranges) {
      for (let place = firstPlace; place <= lastPlace; place++) {
        for (const ordinal of ordinals) {
          const kind = labels.classOf(place, ordinal, cut)
          put(counts, kind)
          put(this.run, kind)
          this.ofDesign(place, ordinal, kind)
        }
      }
    }
    return tally(placesIn(ranges) * ordinals.length, counts)
  }

  private ofDesign(place: number, ordinal: number, kind: LabelClass): void {
    const number = this.fold.labels.use(place, ordinal)
    const named = number === undefined ? undefined : this.fold.labels.uses[number]
    const key = named ? `${named.job}\n${named.design}` : ''
    let row = this.designs.get(key)
    if (!row) {
      row = { counts: new Map(), labels: 0, ...(named ? { job: named.job, design: named.design } : {}) }
      this.designs.set(key, row)
    }
    row.labels++
    put(row.counts, kind)
  }
}

function expectedOf(fold: WebFold, seen: number): Expected | undefined {
  const { web, cells } = fold
  const frames = web.tickets.map(({ expectedFrames }) => expectedFrames)
  if (frames.length === 0 || frames.some((count) => count === undefined)) return undefined
  const labels = frames.reduce<number>((sum, count) => sum + (count ?? 0), 0) * cells.length
  const missing = fold.missingFrames() * cells.length
  const short = labels - seen
  return { labels, missing, difference: short - Math.min(missing, Math.max(0, short)) }
}

function unseenLabels({ web, cells }: WebFold): number {
  let unseen = 0
  for (let place = 0; place < web.places; place++) if (web.frame(place) === undefined) unseen++
  return unseen * cells.length
}

const lanesOf = ({ lanes }: FinishedRoll): { lanes?: readonly number[] } => (lanes ? { lanes } : {})

/** Every label that ran counts once: on one finished roll, cut out, or on a rest. */
export function reconcile(fold: WebFold, { rolls, cut, rest }: WoundWeb): Reconciliation {
  const counting = new Counting(fold)
  const rollRows = rolls.map((roll) => ({
    roll: roll.roll,
    ...lanesOf(roll),
    ...counting.over(roll.ranges, lanesOf(roll)),
  }))
  const cutOut = counting.over(cut, { cut: true })
  const rests = rest.map((range) => ({ roll: range.roll, ...counting.over([range]) }))
  const seen = fold.web.places * fold.cells.length
  const expected = expectedOf(fold, seen)
  const designs = [...counting.designs.values()].map(({ labels, counts, job, design }) => ({
    ...(job === undefined ? {} : { job }),
    ...(design === undefined ? {} : { design }),
    ...tally(labels, counts),
  }))
  const name = ({ job = '\uffff', design = '' }: { job?: string; design?: string }): string => `${job}\n${design}`
  return {
    run: { ...tally(seen, counting.run), ...(expected ? { expected } : {}), passedUnseen: unseenLabels(fold) },
    rolls: rollRows,
    cutOut,
    rests,
    designs: designs.toSorted((a, b) => (name(a) < name(b) ? -1 : 1)),
  }
}
