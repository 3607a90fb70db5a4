// An order of tickets, step by step: what is changed on the line before each ticket, and what that takes.
import { type DayMinutes, type DayReel, type DayTicket, isSameReel, type LineState } from './day-ticket.ts'

interface FromTo<T> {
  readonly from: T
  readonly to: T
}

export interface DayStep {
  readonly ticket: string
  /** All that this ticket takes before its run proper: the four below. */
  readonly minutes: number
  readonly setUpMinutes: number
  readonly foilMinutes: number
  readonly pitchMinutes: number
  readonly rollMinutes: number
  /** Reels that must be put up; the others that it needs hang already. */
  readonly putUp: readonly DayReel[]
  /** Reels that make way. */
  readonly takenOff: readonly DayReel[]
  readonly pitchMm?: FromTo<number>
  readonly roll?: FromTo<string>
  /** Told for the person at the line; takes no minutes here. */
  readonly webWidthMm?: FromTo<number>
  readonly substrate?: FromTo<string>
}

export interface DayPlan {
  readonly minutes: number
  readonly setUpMinutes: number
  readonly foilMinutes: number
  readonly pitchMinutes: number
  readonly rollMinutes: number
  readonly steps: readonly DayStep[]
}

/** The line between two tickets. */
export interface LineNow extends LineState {
  readonly last?: DayTicket
}

/** Whether the roll stays on the unwinder: two tickets of one pass of one roll. */
export const isSameRoll = (a: DayTicket, b: DayTicket): boolean => a.roll === b.roll && a.pass === b.pass

const changed = <T>(from: T | undefined, to: T): FromTo<T> | undefined =>
  from === undefined || from === to ? undefined : { from, to }

/** The line once it is made ready for a ticket: a station that the ticket needs holds exactly its reels, the others keep theirs. */
export function lineAfter(now: LineNow, ticket: DayTicket): LineNow {
  const used = new Set(ticket.reels.map(({ station }) => station))
  const kept = now.reels.filter(({ station }) => !used.has(station))
  return { pitchMm: ticket.pitchMm, reels: [...kept, ...ticket.reels], last: ticket }
}

function stepTo(now: LineNow, ticket: DayTicket, minutes: DayMinutes): DayStep {
  const used = new Set(ticket.reels.map(({ station }) => station))
  const hanging = now.reels.filter(({ station }) => used.has(station))
  const putUp = ticket.reels.filter((wanted) => !hanging.some((reel) => isSameReel(reel, wanted)))
  const takenOff = hanging.filter((reel) => !ticket.reels.some((wanted) => isSameReel(reel, wanted)))
  const pitchMm = changed(now.pitchMm, ticket.pitchMm)
  const roll = now.last && !isSameRoll(now.last, ticket) ? { from: now.last.roll, to: ticket.roll } : undefined
  const webWidthMm = changed(now.last?.webWidthMm, ticket.webWidthMm)
  const substrate = changed(now.last?.substrate, ticket.substrate)
  const taken = {
    setUpMinutes: minutes.setUp,
    foilMinutes: putUp.length * minutes.foilChange,
    pitchMinutes: pitchMm ? minutes.pitchChange : 0,
    rollMinutes: roll ? minutes.rollChange : 0,
  }
  return {
    ticket: ticket.ticket,
    minutes: taken.setUpMinutes + taken.foilMinutes + taken.pitchMinutes + taken.rollMinutes,
    ...taken,
    putUp,
    takenOff,
    ...(pitchMm ? { pitchMm } : {}),
    ...(roll ? { roll } : {}),
    ...(webWidthMm ? { webWidthMm } : {}),
    ...(substrate ? { substrate } : {}),
  }
}

/** Walks through tickets in this order. Minutes are those of `DayMinutes`, summed. */
export function planOf(tickets: readonly DayTicket[], start: LineState, minutes: DayMinutes): DayPlan {
  const steps: DayStep[] = []
  let now: LineNow = start
  for (const ticket of tickets) {
    steps.push(stepTo(now, ticket, minutes))
    now = lineAfter(now, ticket)
  }
  const sum = (what: 'minutes' | 'setUpMinutes' | 'foilMinutes' | 'pitchMinutes' | 'rollMinutes'): number =>
    steps.reduce((total, step) => total + step[what], 0)
  return {
    minutes: sum('minutes'),
    setUpMinutes: sum('setUpMinutes'),
    foilMinutes: sum('foilMinutes'),
    pitchMinutes: sum('pitchMinutes'),
    rollMinutes: sum('rollMinutes'),
    steps,
  }
}
