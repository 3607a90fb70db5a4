// Places that artwork must leave free: codes with their quiet zones, and the eye mark.
import type { Bitmap } from './distance.ts'
import {
  frameRect,
  grown,
  labelRect,
  liesWithin,
  moved,
  overlaps,
  type RectMm,
  toFrame,
  toLabel,
} from './frame-geometry.ts'
import type { ManifestCell, ManifestFrame, ManifestLayer } from './manifest.ts'

export interface ClearZone {
  readonly code: 'art-over-code' | 'art-over-eye-mark'
  /** For a person: which code or mark, and where. */
  readonly what: string
  readonly rectMm: RectMm
}

function codeZones({ codeAt, cells }: ManifestFrame): ClearZone[] {
  const zone = (what: string, rectMm: RectMm): ClearZone => ({
    code: 'art-over-code',
    what,
    rectMm: grown(rectMm, codeAt.quietMm),
  })
  if (codeAt.from === 'frame') return [zone('the code of the frame', codeAt)]
  return cells.map((cell) => zone(`the code of cell ${cell.cell}`, toFrame(cell, codeAt)))
}

const placementsKept = 1_000

// All zones in frame coordinates. Frames follow one another, so each zone also stands one pitch before and after.
function zonesOf(frame: ManifestFrame): ClearZone[] {
  const zones = codeZones(frame)
  if (frame.eyeMark) zones.push({ code: 'art-over-eye-mark', what: 'the eye mark', rectMm: frame.eyeMark })
  return [-frame.pitchMm, 0, frame.pitchMm].flatMap((alongMm) =>
    zones.map((zone) => ({ ...zone, rectMm: moved(zone.rectMm, { acrossMm: 0, alongMm }) })),
  )
}

/** The area in which a cell's layers may lie, in the label's axes: the label and its bleed. */
export const cellRoom = (cell: ManifestCell): RectMm => grown(labelRect(cell), cell.bleedMm)

const zoneKey = ({ what, rectMm }: ClearZone): string =>
  [what.replace(/ of cell \d+$/, ''), rectMm.leftMm, rectMm.topMm, rectMm.widthMm, rectMm.heightMm]
    .map((part) => (typeof part === 'number' ? part.toFixed(6) : part))
    .join(' ')

function distinct(zones: readonly ClearZone[]): ClearZone[] {
  const kept = new Map<string, ClearZone>()
  for (const zone of zones) if (!kept.has(zoneKey(zone))) kept.set(zoneKey(zone), zone)
  return [...kept.values()]
}

/**
 * Prepares a frame; the function returned gives a layer's zones, measured from the layer's own upper left corner, over all cells that
 * the layer fits. A height layer common to every label is free of zones: a flood varnish lies over everything (common practice,
 * no source); foil never is.
 */
export function openClearZones(frame: ManifestFrame): (layer: ManifestLayer) => readonly ClearZone[] {
  const all = zonesOf(frame)
  const nearCell = frame.cells.map((cell) => {
    const room = cellRoom(cell)
    const inLabel = all.map((zone) => ({ ...zone, rectMm: toLabel(cell, zone.rectMm) }))
    return { room, zones: inLabel.filter((zone) => overlaps(zone.rectMm, room)) }
  })
  const nearFrame = all.filter((zone) => overlaps(zone.rectMm, frameRect(frame)))
  const zonesFor = ({ placement, scope }: ManifestLayer): readonly ClearZone[] => {
    const inCells = () => nearCell.flatMap(({ room, zones }) => (liesWithin(placement, room) ? zones : []))
    const near = scope === 'cell' ? inCells() : nearFrame
    const touched = distinct(near.filter((zone) => overlaps(zone.rectMm, placement)))
    const toLayer = { acrossMm: -placement.leftMm, alongMm: -placement.topMm }
    return touched.map((zone) => ({ ...zone, rectMm: moved(zone.rectMm, toLayer) }))
  }
  // Most layers of a job share a few placements.
  const known = new Map<string, readonly ClearZone[]>()
  return (layer) => {
    if (layer.scope === 'common' && layer.foil === undefined) return []
    const key = JSON.stringify([layer.scope === 'cell', layer.placement])
    const zones = known.get(key) ?? zonesFor(layer)
    if (known.size < placementsKept) known.set(key, zones)
    return zones
  }
}

// First and last pixel whose centre lies within an extent. Judged by centres, so an edge may be off by half a pixel, as sizes may.
function pixelSpan({ startMm, lengthMm }: { startMm: number; lengthMm: number }, dpi: number, countPx: number) {
  const toPx = (mm: number): number => (mm / 25.4) * dpi
  const rounding = 1e-6
  return {
    first: Math.max(0, Math.ceil(toPx(startMm) - 0.5 + rounding)),
    last: Math.min(countPx - 1, Math.floor(toPx(startMm + lengthMm) - 0.5 - rounding)),
  }
}

/** How many laid pixels of a layer lie in a zone. */
export function inkInZone(
  bitmap: Bitmap,
  { rectMm }: ClearZone,
  { acrossDpi, alongDpi }: ManifestLayer['resolution'],
): number {
  const across = pixelSpan({ startMm: rectMm.leftMm, lengthMm: rectMm.widthMm }, acrossDpi, bitmap.widthPx)
  const along = pixelSpan({ startMm: rectMm.topMm, lengthMm: rectMm.heightMm }, alongDpi, bitmap.heightPx)
  let count = 0
  for (let y = along.first; y <= along.last; y += 1) {
    const row = y * bitmap.widthPx
    for (let x = across.first; x <= across.last; x += 1) count += bitmap.ink[row + x] as number
  }
  return count
}
