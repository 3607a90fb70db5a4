// What of a ticket matters to the order of a day: pitch, web, roll and the reels that must hang on the line while it runs.
import { Problem } from '../../kernel/problem.ts'
import type { CatalogueChange } from '../../packages/index.ts'
import type { LineProfile } from '../profile.ts'
import type { Ticket } from '../ticket.ts'

/** A reel of foil at its place. `widthMm` is absent only for a reel of the line as it stands that spans the web, however wide. */
export interface DayReel {
  readonly station: string
  readonly shaft: string
  readonly foil: string
  readonly leftMm: number
  readonly widthMm?: number
  readonly wholeWeb: boolean
}

export interface DayTicket {
  readonly ticket: string
  readonly roll: string
  readonly pass: number
  readonly pitchMm: number
  readonly webWidthMm: number
  readonly substrate: string
  /** All reels that the ticket needs. A station with none of them keeps what hangs on it. */
  readonly reels: readonly DayReel[]
}

/** The line before the first ticket: what is threaded, and the pitch that it is set to (absent: any pitch is free at first). */
export interface LineState {
  readonly pitchMm?: number
  readonly reels: readonly DayReel[]
}

/** What each takes, minutes. */
export interface DayMinutes {
  readonly setUp: number
  readonly foilChange: number
  readonly pitchChange: number
  readonly rollChange: number
}

interface StatedReel {
  readonly station: string
  readonly foil: string
  readonly shaft?: string | undefined
  readonly leftMm?: number | undefined
  readonly widthMm?: number | undefined
}

export const dayMinutesOf = ({ minutes = {} }: LineProfile): DayMinutes => ({
  setUp: minutes.setUp ?? 0,
  foilChange: minutes.foilChange ?? 0,
  pitchChange: minutes.pitchChange ?? 0,
  rollChange: minutes.rollChange ?? 0,
})

// A shaft that is not stated is the station's first in the profile: the same for every ticket, so that its reel can stay.
const shaftOf = (line: LineProfile, { station, shaft }: StatedReel): string =>
  shaft ?? line.stations.find((row) => row.station === station)?.shafts?.[0]?.shaft ?? ''

/** Refuses a reel at a station or on a shaft that the line has not: as if nothing hung there, the order would seem to be a good one. */
export function demandPlace(line: LineProfile, { station, shaft }: StatedReel, pointer: string): void {
  const found = line.stations.find((row) => row.station === station)
  const names = (found?.shafts ?? []).map((row) => row.shaft)
  if (found && (shaft === undefined || !found.shafts || names.includes(shaft))) return
  const what = found
    ? `the ${station} station of ${line.line} has no shaft ${shaft}`
    : `${line.line} has no ${station} station`
  const limit = (found ? names : line.stations.map((row) => row.station)).join(', ')
  throw new Problem('bad-request', `${what}, so nothing hangs there (there are: ${limit || 'none'})`, {
    pointer,
    measured: found && shaft !== undefined ? shaft : station,
    limit,
  })
}

/** A reel that hangs on the line now. Without `leftMm` and `widthMm` it spans the web of whatever ticket comes. */
export const threadedReel = (line: LineProfile, reel: StatedReel): DayReel => ({
  station: reel.station,
  shaft: shaftOf(line, reel),
  foil: reel.foil,
  leftMm: reel.leftMm ?? 0,
  ...(reel.widthMm === undefined ? {} : { widthMm: reel.widthMm }),
  wholeWeb: reel.widthMm === undefined,
})

/** Whether a reel that hangs on the line is the one that is wanted: foil, shaft and place across. */
export const isSameReel = (threaded: DayReel, wanted: DayReel): boolean =>
  threaded.station === wanted.station &&
  threaded.shaft === wanted.shaft &&
  threaded.foil === wanted.foil &&
  (threaded.widthMm === undefined
    ? wanted.wholeWeb
    : threaded.leftMm === wanted.leftMm && threaded.widthMm === wanted.widthMm)

interface Sources {
  readonly catalogue: CatalogueChange['catalogue']
  readonly line: LineProfile
}

/**
 * Reduces a ticket; pitch and web width come from the frames of its jobs as published. Problems: `package-not-found` for a job
 * that is not published, `not-ready` where the jobs of the ticket differ in pitch or web width.
 */
export function dayTicketOf({ catalogue, line }: Sources, ticket: Ticket): DayTicket {
  const frames = ticket.jobs.map(({ job }) => {
    const frame = catalogue.jobs.get(job)?.frame
    if (!frame)
      throw new Problem(
        'package-not-found',
        `ticket ${ticket.ticket} names job ${job}, of which no package is published; its pitch is not known`,
      )
    return { job, pitchMm: frame.pitchMm, webWidthMm: frame.webWidthMm }
  })
  const [first, ...others] = frames
  if (!first) throw new Problem('not-ready', `ticket ${ticket.ticket} names no job`)
  for (const what of ['pitchMm', 'webWidthMm'] as const) {
    const other = others.find((frame) => frame[what] !== first[what])
    if (other)
      throw new Problem('not-ready', `${other.job} of ticket ${ticket.ticket} has another ${what} than ${first.job}`, {
        measured: other[what],
        limit: first[what],
      })
  }
  const { pitchMm, webWidthMm } = first
  const reels = (ticket.foils ?? []).map((reel) => {
    const wholeWeb = reel.widthMm === undefined || (reel.leftMm === 0 && reel.widthMm === webWidthMm)
    return { ...threadedReel(line, reel), widthMm: reel.widthMm ?? webWidthMm, wholeWeb }
  })
  const { roll, pass, substrate } = ticket
  return { ticket: ticket.ticket, roll, pass, pitchMm, webWidthMm, substrate, reels }
}
