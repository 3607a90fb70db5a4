// Reels of foil on a run's shafts: side by side at a station, each with its place across the web. A foil layer can be laid where one
// reel of its foil spans the layer's whole place.
import { Problem } from '../kernel/problem.ts'
import type { EntryBodies } from '../ledger/index.ts'
import type { FrozenVersion, Orientation, Ticket } from '../lines/index.ts'
import { toMm, toUm } from './wire-parts.ts'

/** A stretch across the web, µm from its left edge, face up, as it travels. */
export interface Across {
  readonly leftUm: number
  readonly widthUm: number
}

export interface Reel {
  readonly station: string
  readonly foil: string
  /** Absent: the whole web. */
  readonly across?: Across
}

type Layer = FrozenVersion['layers'][number]
type Body = EntryBodies['material']

/** Rounding of mm to µm, at both edges. */
const roundingUm = 2

export const reelsOf = ({ foils = [] }: Ticket): readonly Reel[] =>
  foils.map(({ station, foil, leftMm, widthMm }) => ({
    station,
    foil,
    ...(leftMm === undefined || widthMm === undefined
      ? {}
      : { across: { leftUm: toUm(leftMm), widthUm: toUm(widthMm) } }),
  }))

const acrossOf = ({ leftUm, widthUm }: Body): Across | undefined =>
  leftUm === undefined || widthUm === undefined ? undefined : { leftUm, widthUm }

const same = (a: Across | undefined, b: Across | undefined): boolean =>
  a?.leftUm === b?.leftUm && a?.widthUm === b?.widthUm

const overlap = (a: Across | undefined, b: Across): boolean =>
  !a || (a.leftUm < b.leftUm + b.widthUm && b.leftUm < a.leftUm + a.widthUm)

/** Problem `reel-place` where an event puts a reel onto part of another's place, or takes one off where none is. */
export function checkFoil(reels: readonly Reel[], body: Body): void {
  const across = acrossOf(body)
  // An event without a place is about all reels of the station.
  if (!across) return
  const there = reels.filter((reel) => reel.station === body.station)
  if (there.some((reel) => same(reel.across, across))) return
  const place = `${toMm(across.leftUm)} to ${toMm(across.leftUm + across.widthUm)} mm`
  if (body.foil === undefined) throw new Problem('reel-place', `no reel of station ${body.station} stands at ${place}`)
  const other = there.find((reel) => overlap(reel.across, across))
  if (!other) return
  const where = other.across
    ? `${toMm(other.across.leftUm)} to ${toMm(other.across.leftUm + other.across.widthUm)} mm`
    : 'the whole web'
  throw new Problem('reel-place', `${place} is not free: ${other.foil} spans ${where}; take that reel off first`, {
    measured: place,
    limit: where,
  })
}

/** The reels after an event `foil`: the one at its place is replaced or taken off; without a place, all of the station. */
export function withFoil(reels: readonly Reel[], body: Body): readonly Reel[] {
  const across = acrossOf(body)
  const kept = reels.filter((reel) => reel.station !== body.station || (across && !same(reel.across, across)))
  if (body.station === undefined || body.foil === undefined) return kept
  return [...kept, { station: body.station, foil: body.foil, ...(across ? { across } : {}) }]
}

// Where a rectangle in a label's own axes lies across its cell: the label turned clockwise fills the cell.
function acrossCell({ rotateDeg, leftMm, widthMm }: Orientation['cells'][number], { placement }: Layer): Across {
  const right = leftMm + widthMm
  if (rotateDeg === 90) return span(right - placement.topMm - placement.heightMm, placement.heightMm)
  if (rotateDeg === 180) return span(right - placement.leftMm - placement.widthMm, placement.widthMm)
  if (rotateDeg === 270) return span(leftMm + placement.topMm, placement.heightMm)
  return span(leftMm + placement.leftMm, placement.widthMm)
}

const span = (leftMm: number, widthMm: number): Across => ({ leftUm: toUm(leftMm), widthUm: toUm(widthMm) })

/** The place of a cell's layer across the web as it travels. */
export function layerAcross(orientation: Orientation, cellNumber: number, layer: Layer): Across | undefined {
  const { placement, scope } = layer
  if (scope === 'cell') {
    const cell = orientation.cells.find(({ cell }) => cell === cellNumber)
    return cell && acrossCell(cell, layer)
  }
  const isTurned = orientation.frameTurnDeg === 180
  const leftMm = isTurned ? orientation.webWidthMm - placement.leftMm - placement.widthMm : placement.leftMm
  return span(leftMm, placement.widthMm)
}

/** Whether one reel of the layer's foil spans the layer's place. */
export function isThreaded(reels: readonly Reel[], layer: Layer, across: () => Across | undefined): boolean {
  return reels.some((reel) => {
    if (reel.station !== layer.station || reel.foil !== layer.foil) return false
    if (!reel.across) return true
    const place = across()
    if (!place) return false
    const { leftUm, widthUm } = reel.across
    return leftUm <= place.leftUm + roundingUm && leftUm + widthUm >= place.leftUm + place.widthUm - roundingUm
  })
}
