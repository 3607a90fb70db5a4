// The layers of a ticket's versions with their sums: each read once, the lost ones noted.

import { type Digest, toDigest } from '../../kernel/bytes.ts'
import { Problem } from '../../kernel/problem.ts'
import type { GrayCurve, LayerSum, LayerSumOrder, ManifestLayer } from '../../packages/index.ts'
import type { Frozen, FrozenJob, FrozenVersion } from '../freeze.ts'
import type { LineProfile, LineStation } from '../profile.ts'
import { wantedVersions } from '../wanted-versions.ts'
import type { LaidLayer } from './relief.ts'
import type { UnreadLayer } from './result.ts'

/** What a layer comes to on a station; `openLayerSums(…).of` over `sumOrder` is one. Problems of lost or damaged bytes are noted. */
export type LayerSumOf = (layer: ManifestLayer, station: LineStation) => Promise<LayerSum>

/** A layer on its station. */
export interface ReadLayer extends LaidLayer {
  readonly layer: ManifestLayer
  readonly station: LineStation
}

// A foil mask is laid as a coat of adhesive, full or none: no curve.
const curveOf = (layer: ManifestLayer, station: LineStation): GrayCurve | undefined =>
  layer.heightUm === undefined ? undefined : station.curve

/** The order for a layer's sum on a station. */
export function sumOrder(layer: ManifestLayer, station: LineStation): LayerSumOrder & { readonly digest: Digest } {
  const curve = curveOf(layer, station)
  return { digest: toDigest(layer.sha256), resolution: layer.resolution, ...(curve ? { curve } : {}) }
}

export const stationOf = ({ stations }: LineProfile, { station }: Pick<ManifestLayer, 'station'>) =>
  stations.find((row) => row.station === station)

/** Orders for all layers that the sums of a ticket need; the same file may be among them many times. */
export const ordersFor = ({
  frozen,
  line,
}: {
  readonly frozen: Frozen
  readonly line: LineProfile
}): readonly LayerSumOrder[] =>
  frozen.jobs.flatMap((job) =>
    wantedVersions(job).flatMap(({ layers }) =>
      layers.flatMap((layer) => {
        const station = stationOf(line, layer)
        return station ? [sumOrder(layer, station)] : []
      }),
    ),
  )

/** Cured coat of adhesive under full foil, µm: the wet coat less what the adhesive's station loses. The foil itself is not counted. */
export function adhesiveUm(line: LineProfile, { adhesive }: LineStation): number {
  if (!adhesive) return 0
  const laidBy = line.stations.find(({ station }) => station === adhesive.station)
  return adhesive.coatUm * (1 - (laidBy?.shrinkage ?? 0))
}

/** Reads the layers of a version that the line has stations for; those of lost bytes go to `unread`. */
export async function readVersion(
  { job, version }: { readonly job: FrozenJob; readonly version: FrozenVersion },
  {
    line,
    layerSums,
    unread,
  }: { readonly line: LineProfile; readonly layerSums: LayerSumOf; readonly unread: UnreadLayer[] },
): Promise<readonly ReadLayer[]> {
  const read: ReadLayer[] = []
  for (const layer of version.layers) {
    const station = stationOf(line, layer)
    if (!station) continue
    try {
      const sum = await layerSums(layer, station)
      const heightUm = layer.heightUm ?? adhesiveUm(line, station)
      const { leftMm, topMm } = layer.placement
      read.push({ layer, station, sum, leftMm, topMm, heightUm, curve: curveOf(layer, station) })
    } catch (error) {
      if (!(error instanceof Problem)) throw error
      const named = { job: job.job, design: version.design, version: version.version, layer: layer.layer }
      unread.push({ ...named, code: error.code, message: error.message })
    }
  }
  return read
}
