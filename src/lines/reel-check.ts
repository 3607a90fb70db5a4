// Foil reels of a ticket against the web that they lie over and the shafts of a line.
import type { Finding } from '../kernel/problem.ts'
import type { LineProfile } from './profile.ts'
import type { Ticket } from './ticket.ts'

export type Reel = NonNullable<Ticket['foils']>[number]
export interface ReelAt {
  readonly reel: Reel
  /** Index in `foils`. */
  readonly at: number
}

export interface ReelSurroundings {
  readonly line?: LineProfile | undefined
  /** Of the material, else of the job's frame. */
  readonly webWidthMm?: number | undefined
}

type Shaft = NonNullable<LineProfile['stations'][number]['shafts']>[number]

const code = 'ticket-reels'
// Widths are written with three digits after the point; a sum of two may be off in the last bits.
const touchMm = 1e-6

/** What reels cannot be: off the web, at a station or on a shaft that is not there, wider or more than a shaft takes. */
export function reelFindings(reels: readonly ReelAt[], { line, webWidthMm }: ReelSurroundings): Finding[] {
  const widest = Math.min(webWidthMm ?? Number.POSITIVE_INFINITY, line?.webWidthMmMax ?? Number.POSITIVE_INFINITY)
  return [
    ...reels.flatMap((row) => [...offWeb(row, widest), ...(line ? ofStation(row, line, webWidthMm) : [])]),
    ...(line ? tooMany(reels, line) : []),
  ]
}

function offWeb({ reel, at }: ReelAt, webWidthMm: number): Finding[] {
  if (reel.leftMm === undefined || reel.widthMm === undefined) return []
  const right = reel.leftMm + reel.widthMm
  if (right <= webWidthMm + touchMm) return []
  const message = 'the reel reaches beyond the web, mm'
  return [{ code, message, pointer: `/foils/${at}/widthMm`, measured: right, limit: webWidthMm }]
}

function ofStation({ reel, at }: ReelAt, line: LineProfile, webWidthMm: number | undefined): Finding[] {
  const pointer = `/foils/${at}`
  const station = line.stations.find((row) => row.station === reel.station)
  if (!station || reel.station !== 'foil') {
    const limit = line.stations.map((row) => row.station).join(', ')
    const message = station ? `the ${reel.station} station lays no foil` : `the line has no ${reel.station} station`
    return [{ code, message, pointer: `${pointer}/station`, measured: reel.station, limit }]
  }
  if (!station.shafts) return []
  const names = station.shafts.map(({ shaft }) => shaft).join(', ')
  const shaft = shaftOf(reel, station.shafts)
  if (!shaft) {
    const message = reel.shaft ? 'the foil station has no such shaft' : 'the foil station has several shafts; name one'
    const measured = reel.shaft ?? 'none'
    return [{ code, message, pointer: `${pointer}/shaft`, measured, limit: names }]
  }
  const widthMm = reel.widthMm ?? webWidthMm
  if (widthMm === undefined || widthMm <= shaft.widthMmMax) return []
  const message = `the reel is wider than shaft ${shaft.shaft} takes, mm`
  return [{ code, message, pointer: `${pointer}/widthMm`, measured: widthMm, limit: shaft.widthMmMax }]
}

const shaftOf = (reel: Reel, shafts: readonly Shaft[]): Shaft | undefined =>
  reel.shaft === undefined && shafts.length === 1 ? shafts[0] : shafts.find(({ shaft }) => shaft === reel.shaft)

function tooMany(reels: readonly ReelAt[], line: LineProfile): Finding[] {
  const shafts = line.stations.find(({ station }) => station === 'foil')?.shafts ?? []
  return shafts.flatMap((shaft): Finding[] => {
    const own = reels.filter(({ reel }) => reel.station === 'foil' && shaftOf(reel, shafts) === shaft)
    if (own.length <= shaft.reelsMax) return []
    const message = `shaft ${shaft.shaft} does not take so many reels`
    return [{ code, message, pointer: '/foils', measured: own.length, limit: shaft.reelsMax }]
  })
}
