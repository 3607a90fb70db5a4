// Which finished rolls a run has so far, by name: each split ends one; what follows the last split is one once the run is closed.
import type { MaterialRecord, Spot } from './material-record.ts'

export interface FinishedRoll {
  readonly name: string
  /** Of a roll that a split ended; absent: the end of what was run. */
  readonly endsAt?: Spot
}

/** Whether one spot lies behind another, further along the web. */
export const isBehind = (spot: Spot, other: Spot): boolean =>
  spot.stretch > other.stretch || (spot.stretch === other.stretch && spot.positionUm > other.positionUm)

type Rolls = Pick<MaterialRecord, 'ticket' | 'material'>

const splitsOf = ({ material }: Rolls) => material.filter(({ body }) => body.event === 'split')

/** What the web behind the last split is called while no split has named it. */
export function restName(record: Rolls): string {
  const splits = splitsOf(record).length
  return splits === 0 ? record.ticket.roll : `${record.ticket.roll}-${splits + 1}`
}

/** Where web under another ticket begins, where the rest of a roll was left or behind: there the rest ends. */
export function restEnd(
  { tickets, pitchUm }: Pick<MaterialRecord, 'tickets' | 'pitchUm'>,
  { stretch, positionUm }: Spot,
): Spot | undefined {
  const near = { stretch, positionUm: positionUm - pitchUm / 2 }
  const begins = tickets.flatMap((ticket) => ticket.begins ?? [])
  return begins.slice(1).find((spot) => !isBehind(near, spot))
}

// Whether the middle of a frame lies behind the last split, and not on the rest that was not run: that is what tells to which roll a
// frame belongs.
function hasRest(record: MaterialRecord, last: Spot | undefined): boolean {
  const stretch = record.stretches.length - 1
  const [start, end] = [record.stretches[0], record.stretches[stretch]]
  if (!start || !end) return false
  if (last && isBehind(last, { stretch, positionUm: end.toUm - record.pitchUm / 2 })) return false
  const partial = record.material.find(({ body }) => body.event === 'partial')
  if (!partial) return true
  const left = { stretch: partial.stretch, positionUm: partial.body.positionUm ?? 0 }
  const begin = last ?? { stretch: 0, positionUm: start.fromUm }
  return (
    restEnd(record, left) !== undefined ||
    isBehind(left, { ...begin, positionUm: begin.positionUm + record.pitchUm / 2 })
  )
}

/** In order along the web. The rest counts once no more frames come. */
export function finishedRolls(record: MaterialRecord): readonly FinishedRoll[] {
  const rolls = splitsOf(record).map(({ body, stretch }) => ({
    name: body.roll ?? '',
    endsAt: { stretch, positionUm: body.positionUm ?? 0 },
  }))
  const isClosed = record.name === 'closing' || record.name === 'sealed' || record.name === 'aborted'
  if (!isClosed || !hasRest(record, rolls.at(-1)?.endsAt)) return rolls
  return [...rolls, { name: restName(record) }]
}
