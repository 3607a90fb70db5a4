// What lies on which finished roll, in which order, as it is wound now: the marks of the web and the events of the material, and
// nothing else. The frame that was wound last lies outside; a rewinding turns that round. Slitting parts lanes and turns nothing: a
// slitter that rewinds is recorded as a rewinding, too.
import type { EntryBodies } from '../ledger/index.ts'
import type { WebMarks } from './record/web-marks.ts'

/** An event of the material, with the places that were counted when it was recorded, and the threading that its position is of. */
export type MaterialRow = EntryBodies['material'] & {
  readonly index: number
  readonly placesThen: number
  readonly threading: number
}

/** Of the web, from its first mark, µm. */
export interface Span {
  readonly fromUm: number
  readonly toUm: number
}

/** Places in a row, both ends included. */
export interface PlaceRange {
  readonly firstPlace: number
  readonly lastPlace: number
}

export interface FinishedRoll {
  readonly roll: string
  /** Absent: all lanes. */
  readonly lanes?: readonly number[]
  /** The finished roll that it was slit from. */
  readonly slitFrom?: string
  /** Its outside is what was wound first. */
  readonly rewound: boolean
  /** The web that it holds, in order of the web; between them something was taken out. */
  readonly spans: readonly Span[]
  readonly ranges: readonly PlaceRange[]
  /** Where web was joined, µm of web. */
  readonly joinsUm: readonly number[]
}

export interface WoundWeb {
  readonly rolls: readonly FinishedRoll[]
  /** Taken out after laying. */
  readonly cut: readonly PlaceRange[]
  /** Seen, but left on what was not run to its end. */
  readonly rest: readonly (PlaceRange & { readonly roll: string })[]
}

/** Share of its pitch that a cut-out may take of a frame that still counts as there (common practice, no source). */
const cutShareMax = 0.25

/** Events that stand: none that a later one voids. */
export function standingEvents(events: readonly MaterialRow[]): readonly MaterialRow[] {
  const voided = new Set<number>()
  for (const event of events.toReversed()) {
    if (event.event === 'void' && event.voids !== undefined && !voided.has(event.index)) voided.add(event.voids)
  }
  return events.filter(({ event, index }) => event !== 'void' && !voided.has(index))
}

const shared = (a: Span, b: Span): number => Math.max(0, Math.min(a.toUm, b.toUm) - Math.max(a.fromUm, b.fromUm))

/** What is left of spans without another. */
const without = (spans: readonly Span[], taken: Span): readonly Span[] =>
  spans.flatMap((span) => {
    if (shared(span, taken) === 0) return [span]
    const before = { fromUm: span.fromUm, toUm: Math.min(span.toUm, taken.fromUm) }
    const after = { fromUm: Math.max(span.fromUm, taken.toUm), toUm: span.toUm }
    return [before, after].filter(({ fromUm, toUm }) => toUm > fromUm)
  })

/** Whether so much of a frame was taken out that it counts as gone. */
export function isCutOut(frame: Span, cuts: readonly Span[]): boolean {
  const taken = cuts.reduce((sum, cut) => sum + shared(frame, cut), 0)
  return taken > (frame.toUm - frame.fromUm) * cutShareMax
}

interface Marked {
  readonly cuts: readonly Span[]
  readonly rests: readonly (Span & { readonly roll: string })[]
  readonly splits: readonly { readonly atUm: number; readonly roll: string | undefined }[]
  readonly joinsUm: readonly number[]
}

// A rest reaches to where the next ticket's web begins, or to the end.
function restOf(web: WebMarks, event: MaterialRow): Span & { readonly roll: string } {
  const fromUm = web.eventUm(event.positionUm, event)
  const next = web.tickets.find(({ firstPlace }) => firstPlace > 0 && web.webUm(firstPlace) >= fromUm - web.pitchUm / 2)
  return { fromUm, toUm: next ? web.webUm(next.firstPlace) : Number.POSITIVE_INFINITY, roll: event.roll ?? 'rest' }
}

function mark(web: WebMarks, events: readonly MaterialRow[]): Marked {
  const atUm = (event: MaterialRow): number => web.eventUm(event.positionUm, event)
  const of = (kind: MaterialRow['event']): readonly MaterialRow[] => events.filter(({ event }) => event === kind)
  const cuts = of('cut-out').flatMap((event) => {
    const { toPositionUm } = event
    return toPositionUm === undefined ? [] : [{ fromUm: atUm(event), toUm: web.eventUm(toPositionUm, event) }]
  })
  const splices = of('splice').map(atUm)
  const threadings = web.threadings.slice(1).map(({ webUm }) => webUm)
  return {
    cuts,
    rests: of('partial').map((event) => restOf(web, event)),
    splits: of('split')
      .map((event) => ({ atUm: atUm(event), roll: event.roll }))
      .toSorted((a, b) => a.atUm - b.atUm),
    joinsUm: [...splices, ...threadings, ...cuts.map(({ fromUm }) => fromUm)].toSorted((a, b) => a - b),
  }
}

/** −1 cut out; −2 − i the i-th rest; else the number of splits before it. */
function bucketOf(web: WebMarks, place: number, { cuts, rests, splits }: Marked): number {
  const fromUm = web.webUm(place)
  if (isCutOut({ fromUm, toUm: fromUm + web.pitchUm }, cuts)) return -1
  const midUm = fromUm + web.pitchUm / 2
  const rest = rests.findIndex((span) => midUm >= span.fromUm && midUm < span.toUm)
  if (rest >= 0) return -2 - rest
  return splits.findLastIndex(({ atUm }) => atUm <= midUm) + 1
}

function sortPlaces(web: WebMarks, marked: Marked): ReadonlyMap<number, PlaceRange[]> {
  const buckets = new Map<number, PlaceRange[]>()
  let open: { bucket: number; firstPlace: number } | undefined
  for (let place = 0; place <= web.places; place++) {
    const bucket = place < web.places ? bucketOf(web, place, marked) : undefined
    if (open && open.bucket === bucket) continue
    if (open) {
      const ranges = buckets.get(open.bucket) ?? []
      ranges.push({ firstPlace: open.firstPlace, lastPlace: place - 1 })
      buckets.set(open.bucket, ranges)
    }
    open = bucket === undefined ? undefined : { bucket, firstPlace: place }
  }
  return buckets
}

// What follows the last split is called after the newest ticket's roll.
function restName(web: WebMarks, splits: number): string {
  const roll = web.ticket?.roll ?? 'roll'
  return splits === 0 ? roll : `${roll}-${splits + 1}`
}

function wind(web: WebMarks, marked: Marked, buckets: ReadonlyMap<number, PlaceRange[]>): FinishedRoll[] {
  const { splits, cuts, rests, joinsUm } = marked
  const rolls: FinishedRoll[] = []
  for (let i = 0; i <= splits.length; i++) {
    const ranges = buckets.get(i) ?? []
    const split = splits[i]
    if (ranges.length === 0 && !split) continue
    const roll = split ? (split.roll ?? `${web.ticket?.roll}-${i + 1}`) : restName(web, splits.length)
    const whole = { fromUm: splits[i - 1]?.atUm ?? 0, toUm: split?.atUm ?? web.endUm }
    const spans = [...cuts, ...rests].reduce<readonly Span[]>(without, whole.toUm > whole.fromUm ? [whole] : [])
    const joins = joinsUm.filter((atUm) => atUm > whole.fromUm && atUm < whole.toUm)
    rolls.push({ roll, rewound: false, spans, ranges, joinsUm: joins })
  }
  return rolls
}

// Lanes that a slit names for no roll stay under the old name.
function slit(parent: FinishedRoll, laneRolls: NonNullable<MaterialRow['laneRolls']>, lanes: readonly number[]) {
  const children = laneRolls.map((lane) => ({ ...parent, roll: lane.roll, lanes: lane.lanes, slitFrom: parent.roll }))
  const left = lanes.filter((lane) => !laneRolls.some((row) => row.lanes.includes(lane)))
  return left.length > 0 ? [...children, { ...parent, lanes: left }] : children
}

// A slit or a rewinding that names no roll means the one that was wound up last.
function turn(rolls: readonly FinishedRoll[], event: MaterialRow, allLanes: readonly number[]): FinishedRoll[] {
  const meant = event.roll ?? rolls.at(-1)?.roll
  return rolls.flatMap((roll) => {
    if (roll.roll !== meant) return [roll]
    if (event.event === 'rewind') return [{ ...roll, rewound: !roll.rewound }]
    return slit(roll, event.laneRolls ?? [], roll.lanes ?? allLanes)
  })
}

/** Sorts the places of a web onto its finished rolls. Every place is on one roll (of each lane), cut out, or on a rest. */
export function windUp(
  web: WebMarks,
  { events, lanes }: { readonly events: readonly MaterialRow[]; readonly lanes: readonly number[] },
): WoundWeb {
  const standing = standingEvents(events)
  const marked = mark(web, standing)
  const buckets = sortPlaces(web, marked)
  let rolls = wind(web, marked, buckets)
  for (const event of standing) {
    if (event.event === 'rewind' || event.event === 'slit') rolls = turn(rolls, event, lanes)
  }
  const rest = marked.rests.flatMap(({ roll }, i) => (buckets.get(-2 - i) ?? []).map((range) => ({ ...range, roll })))
  return { rolls, cut: buckets.get(-1) ?? [], rest }
}

export const lengthUm = ({ spans }: Pick<FinishedRoll, 'spans'>): number =>
  spans.reduce((sum, { fromUm, toUm }) => sum + toUm - fromUm, 0)

/** Web between a point and the outside of the roll as it is wound now, µm; what was cut out is not counted. */
export function fromOutsideUm({ spans, rewound }: FinishedRoll, webUm: number): number {
  const outside = rewound
    ? { fromUm: Number.NEGATIVE_INFINITY, toUm: webUm }
    : { fromUm: webUm, toUm: Number.POSITIVE_INFINITY }
  return spans.reduce((sum, span) => sum + shared(span, outside), 0)
}

/** The roll's places as one meets them when unwinding it from the outside. */
export function* placesFromOutside({ ranges, rewound }: Pick<FinishedRoll, 'ranges' | 'rewound'>): Generator<number> {
  if (rewound) {
    for (const { firstPlace, lastPlace } of ranges) for (let p = firstPlace; p <= lastPlace; p++) yield p
    return
  }
  for (const { firstPlace, lastPlace } of ranges.toReversed()) for (let p = lastPlace; p >= firstPlace; p--) yield p
}

/** Length of web that is trusted no better than this share: slip and wear of the encoder's wheel (common practice, no source). */
const lengthShare = 0.001

/**
 * How far a place may lie from its stated distance, µm: one pitch (which mark one stops at), 0.1 % of the length from the outside,
 * three times the scatter of the marks, and half a pitch for each join in between. Common practice, no source.
 */
export function toleranceUm(web: WebMarks, roll: FinishedRoll, webUm: number): number {
  const joins = roll.joinsUm.filter((atUm) => (roll.rewound ? atUm <= webUm : atUm >= webUm)).length
  return web.pitchUm * (1 + joins / 2) + lengthShare * fromOutsideUm(roll, webUm) + 3 * web.scatterUm()
}
