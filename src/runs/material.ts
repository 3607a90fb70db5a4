// Events of the material: which of them a run takes, and what stands after one was voided. Pure: a run's record in, the event as it
// will be recorded out, or a Problem.
import { Problem } from '../kernel/problem.ts'
import { finishedRolls, isBehind, restName } from './finished-names.ts'
import { breaksPhase, demandAhead, demandUnlaid, type LabelsSoFar } from './material-places.ts'
import type { MaterialBody, MaterialRecord, Spot, StandingEvent, StretchesSoFar } from './material-record.ts'

type Event = Omit<StandingEvent, 'index'>

/** Takes the position of a frame. Positions are of one origin until the web is threaded anew. */
export function stretchOn(web: StretchesSoFar, positionUm: number): void {
  const toUm = positionUm + web.pitchUm
  const last = web.stretches.at(-1)
  if (!last || web.stretchEnded) web.stretches.push({ fromUm: positionUm, toUm })
  else {
    last.fromUm = Math.min(last.fromUm, positionUm)
    last.toUm = Math.max(last.toUm, toUm)
  }
  web.stretchEnded = false
}

/** The newest stretch that a position lies in, else the newest there is. */
export function stretchOf({ stretches }: Pick<MaterialRecord, 'stretches'>, positionUm: number): number {
  const found = stretches.findLastIndex(({ fromUm, toUm }) => positionUm >= fromUm && positionUm <= toUm)
  return found >= 0 ? found : Math.max(0, stretches.length - 1)
}

const mm = (um: number): number => um / 1000

function demandInside(record: MaterialRecord, event: Event, positionUm: number): Spot {
  const stretch = record.stretches[event.stretch]
  if (stretch && positionUm >= stretch.fromUm && positionUm <= stretch.toUm)
    return { stretch: event.stretch, positionUm }
  const limit = stretch ? `${mm(stretch.fromUm)} to ${mm(stretch.toUm)}` : 'nothing was run yet'
  throw new Problem('material-position', `position ${mm(positionUm)} mm lies outside what was run (${limit} mm)`, {
    measured: mm(positionUm),
    limit,
  })
}

type Events = Pick<MaterialRecord, 'material'>

const bodiesOf = (record: Events, event: MaterialBody['event']): readonly MaterialBody[] =>
  record.material.filter(({ body }) => body.event === event).map(({ body }) => body)

const laneRollNames = (record: Events): readonly string[] =>
  bodiesOf(record, 'slit').flatMap(({ laneRolls = [] }) => laneRolls.map(({ roll }) => roll))

/** Names given to finished rolls, lane rolls and the rest that was not run. */
const givenNames = (record: Events): readonly string[] => [
  ...bodiesOf(record, 'split').map(({ roll = '' }) => roll),
  ...bodiesOf(record, 'partial').map(({ roll = '' }) => roll),
  ...laneRollNames(record),
]

function demandFree(names: readonly string[], taken: readonly string[]): void {
  names.forEach((name, i) => {
    if (!taken.includes(name) && !names.includes(name, i + 1)) return
    throw new Problem('roll-name-taken', `another roll of the run is called ${name}`, { measured: name })
  })
}

/**
 * Problem `roll-name-taken` where what follows the last split would be called as another roll of the run is: to be asked before the name
 * changes, as it does with the ticket.
 */
export function demandRestFree(record: Pick<MaterialRecord, 'ticket' | 'material'>): void {
  demandFree([restName(record)], givenNames(record))
}

function admitSplit(record: MaterialRecord, event: Event): void {
  const { positionUm = 0, roll = '' } = event.body
  const spot = demandInside(record, event, positionUm)
  const last = record.material.findLast(({ body }) => body.event === 'split')
  if (last && !isBehind(spot, { stretch: last.stretch, positionUm: last.body.positionUm ?? 0 })) {
    throw new Problem(
      'material-position',
      `roll ${roll} would end at ${mm(positionUm)} mm, not behind roll ${last.body.roll}; void that split first if it is wrong`,
      { measured: mm(positionUm), limit: mm(last.body.positionUm ?? 0) },
    )
  }
  const rest = restName(record)
  const used = [...bodiesOf(record, 'slit'), ...bodiesOf(record, 'rewind')].some((body) => body.roll === rest)
  if (used)
    throw new Problem('roll-name-taken', `${rest} was slit or rewound as it is; void that first`, { measured: rest })
  const index = record.material.length
  const after = { ...record, material: [...record.material, { ...event, index }] }
  demandFree([roll], givenNames(record))
  demandRestFree(after)
}

function admitPartial(record: MaterialRecord, event: Event): void {
  const { positionUm = 0, roll = '' } = event.body
  const spot = demandInside(record, event, positionUm)
  const [before] = bodiesOf(record, 'partial')
  if (before) throw new Problem('material-position', `the rest is called ${before.roll} already; void that first`)
  const last = finishedRolls(record).findLast(({ endsAt }) => endsAt)?.endsAt
  if (last && isBehind(last, spot)) {
    throw new Problem('material-position', 'a finished roll ends behind the place where the rest would begin', {
      measured: mm(positionUm),
      limit: mm(last.positionUm),
    })
  }
  demandFree([roll], [...givenNames(record), restName(record)])
}

// The finished roll that an event means; lane rolls can be rewound, but not slit again.
function demandRoll(record: MaterialRecord, { roll, event }: MaterialBody): string {
  const slit = bodiesOf(record, 'slit').map((body) => body.roll)
  const whole = finishedRolls(record).map(({ name }) => name)
  const known = [...whole, ...(event === 'rewind' ? laneRollNames(record) : [])].filter((name) => !slit.includes(name))
  if (roll === undefined && known.length === 1 && known[0]) return known[0]
  if (roll !== undefined && known.includes(roll)) return roll
  const what =
    roll === undefined
      ? 'name the roll'
      : `no finished roll ${roll} is there to be ${event === 'slit' ? 'slit' : 'rewound'}`
  const list = known.join(', ') || 'none; what follows the last split is one when the run is closed'
  throw new Problem('roll-unknown', `${what} (there are: ${list})`, {
    ...(roll ? { measured: roll } : {}),
    limit: list,
  })
}

function admitSlit(record: MaterialRecord, { body }: Event): MaterialBody {
  const roll = demandRoll(record, body)
  const laneRolls = body.laneRolls ?? []
  const given = laneRolls.flatMap(({ lanes }) => lanes)
  const all = [...new Set(record.cells.map(({ lane }) => lane))].toSorted((a, b) => a - b)
  const strange = given.find((lane, i) => !all.includes(lane) || given.includes(lane, i + 1))
  const missing = all.filter((lane) => !given.includes(lane))
  if (strange !== undefined || missing.length > 0) {
    const what =
      strange === undefined
        ? `no lane roll has lanes ${missing.join(', ')}`
        : `lane ${strange} is no lane of the run, or stands twice`
    throw new Problem('slit-lanes', what, { measured: given.join(', '), limit: all.join(', ') })
  }
  demandFree(
    laneRolls.map((row) => row.roll),
    [...givenNames(record), restName(record)],
  )
  return { ...body, roll }
}

function admitCutOut(record: MaterialRecord, event: Event): void {
  const { positionUm = 0, toPositionUm } = event.body
  if (toPositionUm === undefined) return
  demandInside(record, event, positionUm)
  demandInside(record, event, toPositionUm)
  if (toPositionUm <= positionUm) {
    throw new Problem('material-position', 'what was taken out ends before it begins', {
      measured: mm(toPositionUm),
      limit: mm(positionUm),
    })
  }
  const over = record.material.find(
    ({ body, stretch }) =>
      body.event === 'cut-out' &&
      body.toPositionUm !== undefined &&
      stretch === event.stretch &&
      positionUm < body.toPositionUm &&
      (body.positionUm ?? 0) < toPositionUm,
  )
  if (!over) return
  const other = `${mm(over.body.positionUm ?? 0)} to ${mm(over.body.toPositionUm ?? 0)}`
  throw new Problem('cut-out-overlap', `${other} mm was taken out already (entry ${over.index})`, { limit: other })
}

function admit(record: MaterialRecord, event: Event): MaterialBody {
  const { body } = event
  if (body.event === 'split') admitSplit(record, event)
  else if (body.event === 'partial') admitPartial(record, event)
  else if (body.event === 'slit') return admitSlit(record, event)
  else if (body.event === 'rewind') return { ...body, roll: demandRoll(record, body) }
  else if (body.event === 'cut-out') admitCutOut(record, event)
  return body
}

// What an event did to the run itself can't be taken back: the foil is changed by another event, and proving was asked for.
const voidable: ReadonlySet<MaterialBody['event']> = new Set([
  'splice',
  'cut-out',
  'split',
  'slit',
  'partial',
  'rewind',
])

const cannotVoid = (index: number | undefined, why: string): Problem =>
  new Problem(
    'material-not-voidable',
    `entry ${index} cannot be voided: ${why}`,
    index === undefined ? {} : { measured: index },
  )

// Without the event, those after it must still be such as would be taken.
function admitVoid(record: MaterialRecord, { voids }: MaterialBody): void {
  const found = record.material.find(({ index }) => index === voids)
  if (!found) throw cannotVoid(voids, 'it is no event of the material, or was voided before')
  const { event } = found.body
  if (!voidable.has(event)) throw cannotVoid(voids, `what a ${event} did stands; record what is so now`)
  const material: StandingEvent[] = []
  for (const later of record.material) {
    if (later === found) continue
    try {
      admit({ ...record, material }, later)
    } catch (error) {
      if (!(error instanceof Problem)) throw error
      throw cannotVoid(voids, `entry ${later.index} (${later.body.event}) rests on it: ${error.message}`)
    }
    material.push(later)
  }
}

/**
 * The event as it is to be recorded: a slit or rewinding names its roll. Problems: `material-position`, `roll-name-taken`,
 * `roll-unknown`, `slit-lanes`, `cut-out-overlap`, `material-not-voidable`.
 */
export function checkMaterial(record: MaterialRecord & LabelsSoFar, body: MaterialBody): MaterialBody {
  if (body.event === 'void') {
    admitVoid(record, body)
    return body
  }
  const event = { body, stretch: stretchOf(record, body.positionUm ?? Number.NaN) }
  const admitted = admit(record, event)
  // Of what is new alone: labels and web that came since say nothing against an event that stands.
  if (breaksPhase(body)) demandAhead(record, event)
  if (body.event === 'partial') demandUnlaid(record, event)
  return admitted
}

/** What stands after one more event was recorded; used when entries are taken up. */
export function withMaterial(
  record: Pick<MaterialRecord, 'material' | 'stretches'>,
  { index, body }: { readonly index: number; readonly body: MaterialBody },
): readonly StandingEvent[] {
  if (body.event === 'void') return record.material.filter((event) => event.index !== body.voids)
  return [...record.material, { index, body, stretch: stretchOf(record, body.positionUm ?? Number.NaN) }]
}
