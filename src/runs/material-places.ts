// Where events of the material may lie: beside what was run, and, of a rest that was not run, behind all that was laid; which frames
// come after one was left.
import { Problem } from '../kernel/problem.ts'
import { isBehind, restEnd } from './finished-names.ts'
import type { MaterialBody, MaterialRecord, Spot, StandingEvent, StretchesSoFar } from './material-record.ts'
import type { PlaceState } from './places.ts'

type Event = Omit<StandingEvent, 'index'>

/** What is known of frames and labels so far; a run's state is one. */
export interface LabelsSoFar {
  /** In order. */
  readonly frames: ReadonlyMap<
    number,
    { readonly place: number; readonly positionUm: number; readonly entryIndex: number; readonly answersAt?: number }
  >
  readonly waiting: ReadonlyMap<number, unknown>
  readonly stretchEnded: boolean
  readonly places: { state(place: number, ordinal: number): PlaceState }
}

/**
 * How far before the sensor a change of the web may be told of, µm: a splice detector stands between unwind and sensor (common
 * practice, no source).
 */
const aheadUmMax = 10_000_000

const mm = (um: number): number => um / 1000

/** Whether the marks' phase may change: what lies before the sensor. What was done with the web behind the stations changes none. */
export const breaksPhase = ({ event, toPositionUm }: MaterialBody): boolean =>
  event === 'splice' || event === 'pitch-change' || (event === 'cut-out' && toPositionUm === undefined)

/** The event with its place: of what changes the phase, that of the last frame where none is given. */
export function placed(
  web: Pick<StretchesSoFar, 'stretchEnded'> & { readonly lastPositionUm: number },
  body: MaterialBody,
): MaterialBody {
  if (body.positionUm !== undefined || web.stretchEnded || !breaksPhase(body)) return body
  return { ...body, positionUm: web.lastPositionUm }
}

/**
 * Problem `material-position` for a place of which no web was run, and none is about to be. Under an encoder origin of which no frame
 * came yet there is nothing to hold it against.
 */
export function demandAhead(
  { stretches, stretchEnded }: Pick<MaterialRecord, 'stretches'> & Pick<StretchesSoFar, 'stretchEnded'>,
  { body: { event, positionUm }, stretch }: Event,
): void {
  const on = stretches[stretch]
  if (positionUm === undefined || stretchEnded || !on) return
  const toUm = stretch === stretches.length - 1 ? on.toUm + aheadUmMax : on.toUm
  if (positionUm >= on.fromUm && positionUm <= toUm) return
  const limit = `${mm(on.fromUm)} to ${mm(toUm)}`
  throw new Problem(
    'material-position',
    `a ${event} at ${mm(positionUm)} mm lies neither on what was run nor just before the sensor (${limit} mm)`,
    { measured: mm(positionUm), limit },
  )
}

const spotOf = ({ stretch, body }: Event): Spot => ({ stretch, positionUm: body.positionUm ?? 0 })

type Record = MaterialRecord & LabelsSoFar

// The frames whose middles lie on the rest. A stretch begins with the first frame behind a re-threading.
function* framesOn(record: Record, left: Spot) {
  const rethreads = record.material.filter(({ body }) => body.event === 're-thread').map(({ index }) => index)
  const end = restEnd(record, left)
  let [stretch, before] = [0, Number.POSITIVE_INFINITY]
  for (const frame of record.frames.values()) {
    if (rethreads.some((index) => index > before && index < frame.entryIndex)) stretch++
    before = frame.entryIndex
    const at = { stretch, positionUm: frame.positionUm + record.pitchUm / 2 }
    if (!isBehind(left, at) && (!end || isBehind(end, at))) yield frame
  }
}

/** Problem `material-position` for a rest with labels that were laid, or whose pictures are still being read: a rest was not run. */
export function demandUnlaid(record: Record, event: Event): void {
  const positionMm = mm(event.body.positionUm ?? 0)
  const [laid, unread] = [new Set<string>(), new Set<number>()]
  for (const { place, answersAt } of framesOn(record, spotOf(event))) {
    if (answersAt === undefined && [...record.waiting.values()].includes(undefined)) unread.add(place)
    record.cells.forEach((_, ordinal) => {
      if (record.places.state(place, ordinal) === 'lay') laid.add(`${place}/${ordinal}`)
    })
  }
  if (unread.size > 0) {
    throw new Problem(
      'material-position',
      `pictures of ${unread.size} frames behind ${positionMm} mm are still being read`,
      {
        measured: positionMm,
      },
    )
  }
  if (laid.size === 0) return
  throw new Problem(
    'material-position',
    `${laid.size} labels behind ${positionMm} mm were answered lay: report them none first if nothing lies on them, or split there instead`,
    { measured: positionMm },
  )
}

/** What frames to come are held against; a run's state is one. */
type Coming = Pick<MaterialRecord, 'material' | 'tickets' | 'pitchUm' | 'stretches'> &
  Pick<StretchesSoFar, 'stretchEnded'>

/** Problem `frame-on-rest` for a frame behind the place where the roll was left: what follows is another roll, under another ticket. */
export function demandNotLeft(run: Coming, positionUm: number, pointer: string): void {
  const partial = run.material.find(({ body }) => body.event === 'partial')
  if (!partial || !run.tickets.at(-1)?.begins) return
  const left = spotOf(partial)
  const stretch = run.stretchEnded ? run.stretches.length : run.stretches.length - 1
  if (restEnd(run, left) || isBehind(left, { stretch, positionUm: positionUm + run.pitchUm / 2 })) return
  throw new Problem(
    'frame-on-rest',
    `the web behind ${mm(left.positionUm)} mm was left as ${partial.body.roll} (entry ${partial.index}): change the ticket for what follows, or void that event`,
    { pointer, measured: mm(positionUm), limit: mm(left.positionUm) },
  )
}
