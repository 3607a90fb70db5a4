// Readiness: whether the foil that layers need is threaded, and lies over their places across the web.
import type { FrozenVersion } from '../freeze.ts'
import type { Orientation } from '../orientation/index.ts'
import { type Reel, reelFindings } from '../reel-check.ts'
import { countedOf, type Inquiry, type ReadinessRow, type WantedVersion } from './rows.ts'

type Layer = FrozenVersion['layers'][number]
interface Span {
  readonly fromMm: number
  readonly toMm: number
}

/** Reels against web and shafts. */
export function reelRows({ ticket, line, frozen }: Omit<Inquiry, 'condition'>): ReadinessRow[] {
  const reels = (ticket.foils ?? []).map((reel, at) => ({ reel, at }))
  const webWidthMm = ticket.material?.widthMm ?? frozen.jobs[0]?.frame.webWidthMm
  return reelFindings(reels, { line, webWidthMm }).map(({ message, pointer, measured, limit }) => ({
    code: 'reel-unfit' as const,
    message: `${pointer}: ${message}`,
    mend: 'mend the reels on the ticket, or use a shaft that takes them',
    ...(measured === undefined ? {} : { measured }),
    ...(limit === undefined ? {} : { limit }),
  }))
}

/** Foil layers against the reels of the ticket. `orientation` is absent where it is impossible, which is a row of its own. */
export function foilRows(
  inquiry: Pick<Inquiry, 'ticket' | 'line'>,
  wanted: WantedVersion,
  orientation: Orientation | undefined,
): ReadinessRow[] {
  return wanted.version.layers.flatMap((layer): ReadinessRow[] => {
    // A station that is not there is a row of its own.
    if (layer.foil === undefined || !inquiry.line.stations.some(({ station }) => station === layer.station)) return []
    const reels = (inquiry.ticket.foils ?? []).filter(
      (reel) => reel.station === layer.station && reel.foil === layer.foil,
    )
    const base = {
      job: wanted.job.job,
      design: wanted.version.design,
      version: wanted.version.version,
      layer: layer.layer,
      ...countedOf(wanted),
    }
    if (reels.length > 0) return orientation ? outOfReach({ base, layer, wanted, reels, orientation }) : []
    const message = `foil ${layer.foil} is not on the ticket's shafts`
    return [{ ...base, code: 'foil-not-threaded', message, mend: 'thread it and add it to foils of the ticket' }]
  })
}

interface Reach {
  readonly base: Omit<ReadinessRow, 'code' | 'message' | 'mend'>
  readonly layer: Layer
  readonly wanted: WantedVersion
  readonly reels: readonly Reel[]
  readonly orientation: Orientation
}

const text = ({ fromMm, toMm }: Span): string => `${round(fromMm)} to ${round(toMm)}`
const round = (mm: number): number => Math.round(mm * 1e3) / 1e3
/** Widths are sums of numbers with a few digits after the point. */
const touchMm = 1e-6

function outOfReach({ base, layer, wanted, reels, orientation }: Reach): ReadinessRow[] {
  const laid = reels.map(({ leftMm = 0, widthMm = Number.POSITIVE_INFINITY }): Span => {
    return { fromMm: leftMm, toMm: leftMm + widthMm }
  })
  const bare = placesOf(layer, wanted, orientation).filter(
    ({ span }) => !laid.some((reel) => reel.fromMm <= span.fromMm + touchMm && span.toMm <= reel.toMm + touchMm),
  )
  const [first] = bare
  if (!first) return []
  const cells = bare.map(({ cell }) => cell).filter((cell) => cell !== undefined)
  const where = cells.length > 0 ? ` in cell ${cells.join(', ')}` : ''
  return [
    {
      ...base,
      code: 'foil-out-of-reach',
      message: `no reel of ${layer.foil} lies over the layer's place${where}; across the web from the left along the travel, mm`,
      mend: 'move the reel, thread a wider one or another, and say so in foils of the ticket',
      measured: text(first.span),
      limit: laid.map(text).join(', '),
    },
  ]
}

// Where the layer lies across the web as it travels: one place a cell, or one for the whole frame.
function placesOf({ scope, placement }: Layer, { job, cells }: WantedVersion, orientation: Orientation) {
  const { webWidthMm, frameTurnDeg } = orientation
  const spanAt = (leftMm: number): Span => {
    const span = { fromMm: leftMm, toMm: leftMm + placement.widthMm }
    return frameTurnDeg === 0 ? span : { fromMm: webWidthMm - span.toMm, toMm: webWidthMm - span.fromMm }
  }
  if (scope !== 'cell') return [{ cell: undefined, span: spanAt(placement.leftMm) }]
  const onRoll = new Set(orientation.cells.map(({ cell }) => cell))
  return job.frame.cells
    .filter(({ cell }) => onRoll.has(cell) && (cells === undefined || cells.has(cell)))
    .map(({ cell, leftMm }) => ({ cell, span: spanAt(leftMm + placement.leftMm) }))
}
