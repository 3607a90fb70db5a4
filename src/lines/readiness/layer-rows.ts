// Readiness: whether the line can lay the layers that labels would be given.
import { toDigest } from '../../kernel/bytes.ts'
import type { BlobCondition } from '../../storage/port.ts'
import type { FrozenVersion } from '../freeze.ts'
import type { LineStation } from '../profile.ts'
import { countedOf, type Inquiry, type ReadinessRow, type WantedVersion } from './rows.ts'

type Layer = FrozenVersion['layers'][number]
type Base = Omit<ReadinessRow, 'code' | 'message' | 'mend'>

const baseOf = (wanted: WantedVersion, layer: Layer): Base => ({
  job: wanted.job.job,
  design: wanted.version.design,
  version: wanted.version.version,
  layer: layer.layer,
  ...countedOf(wanted),
})

/** Layers against the line's stations, layer by layer. */
export function layerRows({ line }: Inquiry, wanted: WantedVersion): ReadinessRow[] {
  return wanted.version.layers.flatMap((layer): ReadinessRow[] => {
    const base = baseOf(wanted, layer)
    const station = line.stations.find((candidate) => candidate.station === layer.station)
    if (station) return [...resolutionRows(base, layer, station), ...heightRows(base, layer, station, line.heightUmMax)]
    const message = `the line has no ${layer.station} station`
    const mend = 'run it on a line that has one, or lay this layer in another pass'
    return [{ ...base, code: 'station-missing', message, mend }]
  })
}

function resolutionRows(base: Base, { resolution: own }: Layer, { resolution, station }: LineStation): ReadinessRow[] {
  if (!resolution || (resolution.acrossDpi === own.acrossDpi && resolution.alongDpi === own.alongDpi)) return []
  return [
    {
      ...base,
      code: 'resolution-mismatch',
      message: `the layer does not have the resolution of the ${station} station, dpi across × along`,
      mend: 'publish a version whose layer has the resolution of the head',
      measured: `${own.acrossDpi} × ${own.alongDpi}`,
      limit: `${resolution.acrossDpi} × ${resolution.alongDpi}`,
    },
  ]
}

function heightRows(base: Base, { heightUm }: Layer, { heightUm: range, station }: LineStation, max: number) {
  if (heightUm === undefined) return []
  const rows: ReadinessRow[] = []
  if (heightUm > max) {
    rows.push({
      ...base,
      code: 'height-over-limit',
      message: 'the layer is higher than the line lays, µm',
      mend: 'publish a version with a lower layer, or run it on another line',
      measured: heightUm,
      limit: max,
    })
  }
  if (range && (heightUm < range.min || heightUm > range.max)) {
    rows.push({
      ...base,
      code: 'height-out-of-range',
      message: `the ${station} station does not lay this height, µm`,
      mend: 'publish a version whose layer lies within its heights, or run it on another line',
      measured: heightUm,
      limit: `${range.min} to ${range.max}`,
    })
  }
  return rows
}

const layersAt = (version: FrozenVersion, station: string): string =>
  version.layers
    .filter((layer) => layer.station === station)
    .map((layer) => layer.sha256)
    .join()

/** A station that can't skip lays the same on every label, so its layers must be the same bytes for all. */
export function commonRows({ line }: Inquiry, wanted: readonly WantedVersion[]): ReadinessRow[] {
  return line.stations
    .filter((station) => !station.skips)
    .flatMap(({ station }): ReadinessRow[] => {
      const sets = new Map(wanted.map(({ job, version }) => [layersAt(version, station), { job, version }]))
      if (sets.size <= 1) return []
      const some = [...sets.values()].slice(0, 2).map(({ version }) => `${version.design} v${version.version}`)
      return [
        {
          code: 'layers-not-common',
          message: `the ${station} station cannot skip, but its layers differ between labels, such as those of ${some.join(' and ')}`,
          mend: 'give all labels of the roll the same layer there, or run the designs apart',
          measured: sets.size,
          limit: 1,
        },
      ]
    })
}

/** Stored bytes of layers and code indexes. */
export async function bytesRows(inquiry: Inquiry, all: readonly WantedVersion[]): Promise<ReadinessRow[]> {
  const seen = new Map<string, BlobCondition>()
  const rows: ReadinessRow[] = []
  for (const wanted of all) {
    for (const layer of wanted.version.layers) {
      const digest = toDigest(layer.sha256)
      const condition = seen.get(digest) ?? (await inquiry.condition(digest))
      seen.set(digest, condition)
      if (condition === 'sound') continue
      rows.push({
        ...baseOf(wanted, layer),
        code: condition === 'missing' ? 'missing-layer' : 'damaged-layer',
        message: `the stored bytes of ${layer.file} are ${condition}`,
        mend: publishAgain,
      })
    }
  }
  return [...rows, ...(await tableRows(inquiry))]
}

const publishAgain = 'publish the same package again: rollcall publish FOLDER --by …'

// Without its code index, every code of the job is unknown.
async function tableRows({ frozen, condition }: Inquiry): Promise<ReadinessRow[]> {
  const rows: ReadinessRow[] = []
  for (const { job, codeIndexes } of frozen.jobs) {
    for (const digest of codeIndexes) {
      const found = await condition(toDigest(digest))
      if (found === 'sound') continue
      const message = `a code index of the job is ${found}: its codes are unknown`
      rows.push({ code: 'code-table-lost', job, message, mend: publishAgain, measured: found })
    }
  }
  return rows
}
