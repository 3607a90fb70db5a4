// What a roll uses up: varnish and adhesive by station, foil by reel.
import type { LineProfile, LineStation } from '../profile.ts'
import type { Ticket } from '../ticket.ts'
import { adhesiveMl, varnishMl } from './fluids.ts'
import { foilM, foilM2, reelsFor } from './foil.ts'
import type { ReadLayer } from './layers-read.ts'
import type { Extent, LabelFluid, ReelSums, StationSums } from './result.ts'

/** One version's part: how many labels a frame has of it, and what one label takes. */
export interface Laid {
  readonly perFrame: number
  readonly perLabel: readonly LabelFluid[]
  /** Area of masks of one label, mm², by foil. */
  readonly foilMm2: Readonly<Record<string, number>>
}

// A label's part of what is laid once a frame.
const partOf = ({ layer }: ReadLayer, cellsPerFrame: number): number => (layer.scope === 'cell' ? 1 : 1 / cellsPerFrame)

function fluidOf({ layer, station, sum }: ReadLayer): LabelFluid | undefined {
  const { heightUm } = layer
  if (heightUm !== undefined) {
    const ml = varnishMl({ fullMm2: sum.fullMm2, heightUm, shrinkage: station.shrinkage })
    return { station: station.station, fluid: 'varnish', ml }
  }
  const { adhesive } = station
  if (!adhesive) return undefined
  return {
    station: adhesive.station,
    fluid: 'adhesive',
    ml: adhesiveMl({ maskMm2: sum.inkMm2, coatUm: adhesive.coatUm }),
  }
}

/** What one label takes, by station and fluid. */
export function fluidsOf(layers: readonly ReadLayer[], cellsPerFrame: number): readonly LabelFluid[] {
  const rows = new Map<string, LabelFluid>()
  for (const layer of layers) {
    const fluid = fluidOf(layer)
    if (!fluid) continue
    const key = `${fluid.station} ${fluid.fluid}`
    const ml = (rows.get(key)?.ml ?? 0) + fluid.ml * partOf(layer, cellsPerFrame)
    rows.set(key, { ...fluid, ml })
  }
  return [...rows.values()]
}

/** Area of foil masks of one label, mm², by foil. */
export function foilMm2Of(layers: readonly ReadLayer[], cellsPerFrame: number): Readonly<Record<string, number>> {
  const areas = new Map<string, number>()
  for (const read of layers) {
    const { foil } = read.layer
    if (foil === undefined) continue
    areas.set(foil, (areas.get(foil) ?? 0) + read.sum.inkMm2 * partOf(read, cellsPerFrame))
  }
  return Object.fromEntries(areas)
}

interface Consumed {
  readonly line: LineProfile
  readonly extent: Extent
  readonly laid: readonly Laid[]
  /** Stations with layers on the ticket. */
  readonly used: readonly LineStation[]
}

/** mL of the roll by station and fluid: the run proper, the same again over the set-up's web, and one purge for each station's set-up. */
export function stationsOf({ line, extent, laid }: Consumed): readonly StationSums[] {
  const perFrame = new Map<string, LabelFluid>()
  for (const version of laid) {
    for (const fluid of version.perLabel) {
      const key = `${fluid.station} ${fluid.fluid}`
      perFrame.set(key, { ...fluid, ml: (perFrame.get(key)?.ml ?? 0) + version.perFrame * fluid.ml })
    }
  }
  const setUpFrames = (extent.setUpM * 1000) / extent.pitchMm
  const purged = new Set<string>()
  return [...perFrame.values()].map(({ station, fluid, ml }) => {
    const purgeMl = purged.has(station) ? 0 : (line.stations.find((row) => row.station === station)?.purgeMl ?? 0)
    purged.add(station)
    const parts = { laidMl: ml * extent.frames, setUpMl: ml * setUpFrames, purgeMl }
    return { station, fluid, ...parts, ml: parts.laidMl + parts.setUpMl + parts.purgeMl }
  })
}

type Reel = NonNullable<Ticket['foils']>[number]

function reelOf(
  reel: Reel,
  { threadingM }: LineStation,
  { extent, webWidthMm, laidM2 }: { extent: Extent; webWidthMm: number; laidM2: number },
): ReelSums {
  const widthMm = reel.widthMm ?? webWidthMm
  const threaded = threadingM ?? 0
  const { lengthM } = reel
  const reels = lengthM === undefined ? undefined : reelsFor({ webM: extent.webM, lengthM, threadingM: threaded })
  const usedM = foilM({ webM: extent.webM, threadingM: threaded, reels: reels ?? 1 })
  return {
    station: reel.station,
    foil: reel.foil,
    ...(reel.shaft === undefined ? {} : { shaft: reel.shaft }),
    leftMm: reel.leftMm ?? 0,
    widthMm,
    usedM,
    neededM: extent.webM + threaded,
    usedM2: foilM2({ lengthM: usedM, widthMm }),
    laidM2,
    ...(lengthM === undefined ? {} : { reelM: lengthM, suffices: reels === 1 }),
    ...(reels === undefined ? {} : { reels }),
  }
}

/**
 * Foil by reel. The nip of a station that any label needs is closed for the whole roll, so every reel on its shafts travels with the web,
 * whatever the labels under it want; where no label needs the station, its reels stand.
 */
export function reelsOf({
  ticket,
  extent,
  laid,
  used,
  webWidthMm,
}: Consumed & { readonly ticket: Ticket; readonly webWidthMm: number }): readonly ReelSums[] {
  const frames = extent.frames + (extent.setUpM * 1000) / extent.pitchMm
  const laidM2 = (foil: string): number =>
    (laid.reduce((sum, { perFrame, foilMm2 }) => sum + perFrame * (foilMm2[foil] ?? 0), 0) * frames) / 1e6
  return (ticket.foils ?? []).flatMap((reel) => {
    const station = used.find((row) => row.station === reel.station)
    if (!station) return []
    const width = ticket.material?.widthMm ?? webWidthMm
    return [reelOf(reel, station, { extent, webWidthMm: width, laidM2: laidM2(reel.foil) })]
  })
}
