// From tickets to the model: tickets that want the line alike become one node, and those of one roll stay in their order.
import type { LineNow } from './day-plan.ts'
import { type DayMinutes, type DayReel, type DayTicket, isSameReel } from './day-ticket.ts'
import { type Arrangements, anyPitch, keeps, type Model, noRoll, ownRoll, toUnits } from './model.ts'

export interface Reduced {
  readonly model: Model
  /** Indices into the tickets that each node stands for, in the order in which they run. */
  readonly members: readonly (readonly number[])[]
}

/** Numbers things by a key, in the order in which they come. */
function numbering(): (key: string) => number {
  const numbers = new Map<string, number>()
  return (key) => {
    const known = numbers.get(key)
    if (known !== undefined) return known
    numbers.set(key, numbers.size)
    return numbers.size - 1
  }
}

const reelKey = ({ shaft, foil, leftMm, widthMm, wholeWeb }: DayReel): string =>
  JSON.stringify([shaft, foil, leftMm, widthMm, wholeWeb])
const setKey = (reels: readonly DayReel[]): string => JSON.stringify(reels.map(reelKey).toSorted())

interface Station {
  /** Number 0 is what hangs there at the start. */
  readonly sets: DayReel[][]
  readonly byKey: Map<string, number>
}

function stationsOf(start: LineNow, tickets: readonly DayTicket[]): Map<string, Station> {
  const stations = new Map<string, Station>()
  for (const { station } of tickets.flatMap(({ reels }) => reels)) {
    if (stations.has(station)) continue
    const hanging = start.reels.filter((reel) => reel.station === station)
    stations.set(station, { sets: [hanging], byKey: new Map([[setKey(hanging), 0]]) })
  }
  return stations
}

function numberOfSet({ sets, byKey }: Station, reels: DayReel[]): number {
  if (reels.length === 0) return keeps
  const key = setKey(reels)
  const known = byKey.get(key)
  if (known !== undefined) return known
  byKey.set(key, sets.length)
  return sets.push(reels) - 1
}

function arrangementsOf({ sets }: Station, foilUnits: number): Arrangements {
  const size = sets.length
  const units = new Float64Array(size * size)
  for (const [from, hanging] of sets.entries()) {
    for (const [to, wanted] of sets.entries()) {
      const anew = wanted.filter((reel) => !hanging.some((other) => isSameReel(other, reel)))
      units[from * size + to] = anew.length * foilUnits
    }
  }
  return { size, units }
}

interface Want {
  readonly index: number
  readonly pitch: number
  readonly roll: number
  readonly sets: readonly number[]
}

/** Tickets of a shared roll, each with the one that must run before it: by pass, then as given. */
function rollChains(tickets: readonly DayTicket[], shared: ReadonlySet<string>): Map<number, number> {
  const before = new Map<number, number>()
  for (const roll of shared) {
    const own = [...tickets.keys()].filter((i) => tickets[i]?.roll === roll)
    const chain = own.toSorted((a, b) => (tickets[a]?.pass ?? 0) - (tickets[b]?.pass ?? 0) || a - b)
    for (const [i, index] of chain.entries()) if (i > 0) before.set(index, chain[i - 1] as number)
  }
  return before
}

/** Rolls that more than one ticket runs; their tickets are bound to one another and stay nodes of their own. */
function sharedRolls(tickets: readonly DayTicket[]): Set<string> {
  const rolls = tickets.map(({ roll }) => roll)
  return new Set(rolls.filter((roll, i) => rolls.indexOf(roll) !== i))
}

// Where a ticket wants nothing that another of the same pitch does not want as well, it runs for nothing right behind that one.
function hostOf(own: Want, wants: readonly Want[]): Want | undefined {
  const within = (host: Want) => own.sets.every((set, s) => set === keeps || set === host.sets[s])
  const isMore = (host: Want) => host.sets.some((set, s) => set !== own.sets[s])
  return wants.find((host) => host.roll === ownRoll && host.pitch === own.pitch && within(host) && isMore(host))
}

/**
 * Groups tickets into nodes. Tickets of rolls of their own that want the same pitch and reels run one after another in some best
 * order: taking one out never makes the rest dearer (putting up reels, pitch and roll changes all obey the triangle inequality),
 * and behind its like it costs a roll change alone. For the same reason a ticket whose reels are part of another's runs behind that.
 */
function groupsOf(wants: readonly Want[]): Want[][] {
  const byKey = new Map<string, Want[]>()
  for (const want of wants) {
    const key = want.roll === ownRoll ? JSON.stringify([want.pitch, want.sets]) : `#${want.index}`
    byKey.set(key, [...(byKey.get(key) ?? []), want])
  }
  const groups = [...byKey.values()]
  const heads = groups.map(([head]) => head as Want)
  const hosted = new Map(heads.map((head) => [head, head.roll === ownRoll ? hostOf(head, heads) : undefined]))
  const lastHost = (head: Want): Want => {
    const host = hosted.get(head)
    return host ? lastHost(host) : head
  }
  for (const [i, head] of heads.entries()) {
    if (hosted.get(head)) groups[heads.indexOf(lastHost(head))]?.push(...(groups[i] as Want[]))
  }
  return groups.filter((_, i) => !hosted.get(heads[i] as Want))
}

/** Makes the model of ordering these tickets from a start. Deterministic: everything is numbered as given. */
export function reduceDay(tickets: readonly DayTicket[], start: LineNow, minutes: DayMinutes): Reduced {
  const pitchUnits = toUnits(minutes.pitchChange)
  const foilUnits = toUnits(minutes.foilChange)
  // What costs nothing to change does not tell tickets apart.
  const weighed = foilUnits > 0 ? tickets : tickets.map((ticket) => ({ ...ticket, reels: [] }))
  const stations = stationsOf(start, weighed)
  const numberOfPitch = numbering()
  const pitchOf = (pitchMm: number): number => (pitchUnits > 0 ? numberOfPitch(String(pitchMm)) : 0)
  const numberOfRoll = numbering()
  const shared = sharedRolls([...(start.last ? [start.last] : []), ...tickets])
  const rollOf = (ticket: DayTicket): number =>
    shared.has(ticket.roll) ? numberOfRoll(JSON.stringify([ticket.roll, ticket.pass])) : ownRoll
  const wants = weighed.map((ticket, index) => ({
    index,
    pitch: pitchOf(ticket.pitchMm),
    roll: rollOf(ticket),
    sets: [...stations].map(([name, station]) =>
      numberOfSet(
        station,
        ticket.reels.filter((reel) => reel.station === name),
      ),
    ),
  }))
  const groups = groupsOf(wants)
  const nodeOf = new Map(groups.flatMap((group, node) => group.map(({ index }) => [index, node] as const)))
  const before = rollChains(tickets, shared)
  const heads = groups.map(([head]) => head as Want)
  const model: Model = {
    nodes: groups.length,
    stations: stations.size,
    wants: Int32Array.from(heads.flatMap(({ sets }) => sets)),
    arrangements: [...stations.values()].map((station) => arrangementsOf(station, foilUnits)),
    pitch: Int32Array.from(heads, ({ pitch }) => pitch),
    roll: Int32Array.from(heads, ({ roll }) => roll),
    after: Int32Array.from(heads, ({ index }) => nodeOf.get(before.get(index) ?? -1) ?? -1),
    start: Int32Array.from([
      start.pitchMm === undefined ? anyPitch : pitchOf(start.pitchMm),
      start.last ? rollOf(start.last) : noRoll,
      ...[...stations].map(() => 0),
    ]),
    foilUnits,
    pitchUnits,
    rollUnits: toUnits(minutes.rollChange),
  }
  return { model, members: groups.map((group) => group.map(({ index }) => index)) }
}

/** Nodes back to tickets. */
export const ticketsOf = ({ members }: Reduced, order: readonly number[]): number[] =>
  order.flatMap((node) => members[node] ?? [])
