// From codes found in a frame's picture to reads of its cells, lanes or the frame, by where they stand. What stands nowhere near a
// place is nobody's; what contradicts itself is no read.
import { limits } from '../kernel/limits.ts'
import { cellNumber, laneNumber, type Read } from '../kernel/terms.ts'
import { type Alignment, align, fitAlignment, noAlignment, type Pair } from './alignment.ts'
import { type CodePlace, codePlaces, type View } from './code-places.ts'
import type { FoundCode, PointPx } from './found-code.ts'

/** How far a picture may lie off what the camera's figures say. */
export const tolerance = { shiftMm: 3, turnDeg: 2 } as const

/** Two or more texts where one was expected; the read there has none. */
export interface ReadConflict {
  readonly cell?: number
  readonly lane?: number
  readonly texts: readonly string[]
}

export interface Assignment {
  /** One for each cell, lane or the frame, in the order of the frame's cells; a no-read has no text. */
  readonly reads: readonly Read[]
  readonly conflicts: readonly ReadConflict[]
  /** How the picture lay against the camera's figures. */
  readonly shiftMm: { readonly across: number; readonly along: number }
  readonly turnDeg: number
}

/**
 * A code belongs to the nearest place when it is nearer than half the way to the next place, the same places of the frames before
 * and after counted; then one shift and turn for the whole picture is fitted (within `tolerance`), and it is judged again. Where a
 * code's centre lies within a place's box, codes beside the box don't count. Texts over `limits.codeBytesMax` count as none.
 */
export function assignToCells({ found, view }: { found: readonly FoundCode[]; view: View }): Assignment {
  const places = codePlaces(view)
  const sites = sitesOf(places, view)
  const pxPerMm = view.camera.pxPerMm
  const reach = { shiftMax: tolerance.shiftMm * pxPerMm, turnRadMax: (tolerance.turnDeg * Math.PI) / 180 }
  let alignment = noAlignment
  // Twice: the second fit has the pairs that the first one set right.
  for (let round = 0; round < 2; round++) alignment = fitAlignment(pairUp({ found, sites, alignment }), reach)
  const atPlace = gather({ found, sites, alignment })
  const judged = groupReads(places).map((group) =>
    judge(
      group,
      group.places.flatMap((place) => atPlace.get(place) ?? []),
    ),
  )
  return {
    reads: judged.map(({ read }) => read),
    conflicts: judged.flatMap(({ conflict }) => conflict ?? []),
    shiftMm: { across: alignment.shift.x / pxPerMm, along: alignment.shift.y / pxPerMm },
    turnDeg: (alignment.turnRad * 180) / Math.PI,
  }
}

/** A place's centre and how far from it a code may stand; `place` is absent where it is that of a frame before or after. */
interface Site {
  readonly place?: CodePlace
  readonly centre: PointPx
  readonly radius: number
}

function sitesOf(places: readonly CodePlace[], { frame, camera }: View): readonly Site[] {
  const pitch = frame.pitchMm * camera.pxPerMm
  const centres = places.map(({ box }) => ({ x: box.left + box.width / 2, y: box.top + box.height / 2 }))
  const beside = centres.flatMap(({ x, y }) => [
    { x, y: y - pitch },
    { x, y: y + pitch },
  ])
  const own = places.map((place, index) => {
    const centre = centres[index] ?? { x: 0, y: 0 }
    const others = [...centres.filter((_, other) => other !== index), ...beside]
    return { place, centre, radius: Math.min(...others.map((other) => distance(centre, other))) / 2 }
  })
  return [...own, ...beside.map((centre) => ({ centre, radius: 0 }))]
}

interface Pairing {
  readonly found: readonly FoundCode[]
  readonly sites: readonly Site[]
  readonly alignment: Alignment
}

/** Each found code with the site nearest to it under the alignment, where that is one of this frame and near enough. */
function nearestSites({
  found,
  sites,
  alignment,
}: Pairing): readonly { code: FoundCode; site: Site; apart: PointPx }[] {
  const aligned = sites.map((site) => ({ site, at: align(alignment, site.centre) }))
  return found.flatMap((code) => {
    const [first] = aligned
    if (first === undefined) return []
    const nearest = aligned.reduce((best, next) =>
      distance(next.at, code.centre) < distance(best.at, code.centre) ? next : best,
    )
    const apart = { x: code.centre.x - nearest.at.x, y: code.centre.y - nearest.at.y }
    const isNear = nearest.site.place !== undefined && Math.hypot(apart.x, apart.y) < nearest.site.radius
    return isNear ? [{ code, site: nearest.site, apart }] : []
  })
}

/** For the fit: at each place the nearest code alone. */
function pairUp(pairing: Pairing): readonly Pair[] {
  const nearest = new Map<Site, { found: PointPx; apart: number }>()
  for (const { code, site, apart } of nearestSites(pairing)) {
    const known = nearest.get(site)
    const length = Math.hypot(apart.x, apart.y)
    if (known === undefined || length < known.apart) nearest.set(site, { found: code.centre, apart: length })
  }
  return [...nearest].map(([site, { found }]) => ({ expected: site.centre, found }))
}

/** The codes at each place; where some stand within its box, those alone. */
function gather(pairing: Pairing): ReadonlyMap<CodePlace, readonly FoundCode[]> {
  const near = nearestSites(pairing)
  const gathered = new Map<CodePlace, readonly FoundCode[]>()
  for (const { place } of pairing.sites) {
    if (place === undefined) continue
    const members = near.filter(({ site }) => site.place === place)
    const within = members.filter(
      ({ apart }) => Math.abs(apart.x) <= place.box.width / 2 && Math.abs(apart.y) <= place.box.height / 2,
    )
    const counted = within.length > 0 ? within : members
    gathered.set(
      place,
      counted.map(({ code }) => code),
    )
  }
  return gathered
}

interface ReadGroup {
  readonly cell?: number
  readonly lane?: number
  readonly places: readonly CodePlace[]
}

function groupReads(places: readonly CodePlace[]): readonly ReadGroup[] {
  const keyOf = ({ cell, lane }: CodePlace): number => cell ?? lane ?? 0
  return [...new Set(places.map(keyOf))].map((key) => {
    const members = places.filter((place) => keyOf(place) === key)
    const { box: _, ...who } = members[0] ?? { box: undefined }
    return { ...who, places: members }
  })
}

function judge(group: ReadGroup, codes: readonly FoundCode[]): { read: Read; conflict?: ReadConflict } {
  const { places: _, ...who } = group
  const place = {
    ...(who.cell === undefined ? {} : { cell: cellNumber(who.cell) }),
    ...(who.lane === undefined ? {} : { lane: laneNumber(who.lane) }),
  }
  const usable = codes.filter(({ text }) => text !== undefined && Buffer.byteLength(text) <= limits.codeBytesMax)
  const texts = [...new Set(usable.map(({ text = '' }) => text))]
  if (texts.length > 1) return { read: place, conflict: { ...who, texts } }
  const best = (usable.length > 0 ? usable : codes).toSorted((a, b) => (b.quality ?? 0) - (a.quality ?? 0))[0]
  if (best === undefined) return { read: place }
  return {
    read: {
      ...place,
      ...(texts[0] === undefined ? {} : { text: texts[0] }),
      symbology: best.identifier,
      ...(best.quality === undefined ? {} : { quality: best.quality }),
    },
  }
}

const distance = (a: PointPx, b: PointPx): number => Math.hypot(a.x - b.x, a.y - b.y)
