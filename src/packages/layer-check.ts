// The check of one layer file and every use that the manifest makes of it. One image is in memory at a time.
import { limits } from '../kernel/limits.ts'
import type { Finding } from '../kernel/problem.ts'
import { type ClearZone, inkInZone } from './clear-zones.ts'
import { type ImageFault, type ImageHeader, imageFault } from './image-fault.ts'
import { readImageHeader } from './image-header.ts'
import { factsOf, type GrayCensus, type LayerFacts, takeCensus } from './layer-facts.ts'
import { decodeLayer } from './layer-pixels.ts'
import type { ManifestLayer } from './manifest.ts'

/** One layer of one design, drawn from a file. */
export interface LayerUse {
  /** JSON pointer of the layer. */
  readonly pointer: string
  readonly layer: ManifestLayer
  readonly zones: readonly ClearZone[]
}

export interface LayerFile {
  readonly file: string
  /** Where the bytes lie. */
  readonly stored: string
  readonly uses: readonly LayerUse[]
}

export interface LayerFileReport {
  readonly findings: readonly Finding[]
  /** Facts by pointer, for every use that could be measured. */
  readonly facts: Readonly<Record<string, LayerFacts>>
}

function sizeFault({ widthPx, heightPx }: ImageHeader): ImageFault | undefined {
  const { imagePixelsMax, imageSideMax } = limits
  if (widthPx * heightPx <= imagePixelsMax && Math.max(widthPx, heightPx) <= imageSideMax) return undefined
  return imageFault('image-too-large', `claims more than ${imagePixelsMax} pixels or ${imageSideMax} on a side`, {
    measured: `${widthPx} × ${heightPx} px`,
    limit: `${imagePixelsMax} px`,
  })
}

function depthFault({ bits }: ImageHeader, { foil }: ManifestLayer): ImageFault | undefined {
  const allowed = foil === undefined ? [8, 16] : [1, 8]
  if (allowed.includes(bits)) return undefined
  const kind = foil === undefined ? 'a height layer' : 'a foil mask'
  return imageFault('image-depth', `${kind} has ${allowed.join(' or ')} bits`, {
    measured: `${bits} bits`,
    limit: `${allowed.join(' or ')} bits`,
  })
}

/** Size of a layer's place at its stated resolution, pixels. */
const placePx = ({ placement, resolution }: ManifestLayer): { across: number; along: number } => ({
  across: (placement.widthMm / 25.4) * resolution.acrossDpi,
  along: (placement.heightMm / 25.4) * resolution.alongDpi,
})

/** Pixels may differ from the place's size at the stated resolution by half a pixel each way, no more. */
function misfit({ widthPx, heightPx }: ImageHeader, layer: ManifestLayer): ImageFault | undefined {
  const { placement } = layer
  const { across, along } = placePx(layer)
  const slackPx = 0.5 + 1e-6
  if (Math.abs(widthPx - across) <= slackPx && Math.abs(heightPx - along) <= slackPx) return undefined
  return imageFault(
    'image-size',
    `${placement.widthMm} × ${placement.heightMm} mm at this resolution need other pixels`,
    {
      measured: `${widthPx} × ${heightPx} px`,
      limit: `${across.toFixed(1)} × ${along.toFixed(1)} px, ± 0.5`,
    },
  )
}

/** Images with more pixels than this many times those of their largest place are not decoded. */
const oversizeMax = 4

// A file of 260 kB may hold 2^28 pixels, whose decoding takes seconds and a GiB. Where it fits none of its places that is found already.
function isOversize({ widthPx, heightPx }: ImageHeader, uses: readonly LayerUse[]): boolean {
  const places = uses.map(({ layer }) => placePx(layer)).map(({ across, along }) => across * along)
  return widthPx * heightPx > oversizeMax * Math.max(...places)
}

const found = <T>(values: readonly (T | undefined)[]): T[] => values.filter((value) => value !== undefined)

function zoneFaults({ layer, zones }: LayerUse, census: GrayCensus): ImageFault[] {
  return zones.flatMap((zone) => {
    const ink = inkInZone(census.bitmap, zone, layer.resolution)
    if (ink === 0) return []
    return [imageFault(zone.code, `artwork lies over ${zone.what}`, { measured: `${ink} px`, limit: '0 px' })]
  })
}

function maskFault(layer: ManifestLayer, census: GrayCensus): ImageFault | undefined {
  if (layer.foil === undefined || census.between === undefined) return undefined
  return imageFault('image-depth', 'a foil mask of 8 bits holds only 0 and 255', {
    measured: census.between,
    limit: '0 or 255',
  })
}

const detailOf = (error: unknown): string =>
  String(error instanceof Error ? error.message : error).split('\n', 1)[0] ?? ''

interface Decoded {
  readonly census: GrayCensus
  readonly grayMax: number
}

// The gray values are let go before anything is measured on the bitmap.
async function decode(stored: string, header: ImageHeader): Promise<Decoded | ImageFault> {
  try {
    const pixels = await decodeLayer(stored, header)
    return { census: takeCensus(pixels), grayMax: pixels.grayMax }
  } catch (error) {
    return imageFault('image-unreadable', `cannot be decoded to its end (${detailOf(error)})`)
  }
}

// Same resolution and same height give the same facts, so a file shared by many designs is measured once.
const factsKey = ({ resolution, heightUm }: ManifestLayer): string =>
  `${resolution.acrossDpi} ${resolution.alongDpi} ${heightUm ?? ''}`

function factsByUse(uses: readonly LayerUse[], { census, grayMax }: Decoded): Record<string, LayerFacts> {
  const known = new Map<string, LayerFacts>()
  const facts: Record<string, LayerFacts> = {}
  for (const { pointer, layer } of uses) {
    const key = factsKey(layer)
    const measured = known.get(key) ?? factsOf(layer, census, grayMax)
    known.set(key, measured)
    facts[pointer] = { ...measured, layer: layer.layer }
  }
  return facts
}

/** Checks one layer file; a fault of the file is reported once, a fault of a use at its layer. Throws only on bugs. */
export async function checkLayerFile({ file, stored, uses }: LayerFile): Promise<LayerFileReport> {
  const findings: Finding[] = []
  const report = (faults: readonly ImageFault[], use = uses[0]): void => {
    for (const fault of faults) {
      const pointer = use ? { pointer: use.pointer } : {}
      findings.push({ ...fault, message: `${file}: ${fault.message}`, file, ...pointer })
    }
  }
  const { header, faults } = readImageHeader(stored)
  report(faults)
  if (!header) return { findings, facts: {} }
  for (const use of uses) report(found([depthFault(header, use.layer), misfit(header, use.layer)]), use)
  const tooLarge = sizeFault(header)
  if (tooLarge) report([tooLarge])
  const isDecoded = !tooLarge && !isOversize(header, uses) && faults.length === 0 && [1, 8, 16].includes(header.bits)
  if (!isDecoded) return { findings, facts: {} }
  const decoded = await decode(stored, header)
  if ('code' in decoded) {
    report([decoded])
    return { findings, facts: {} }
  }
  for (const use of uses) {
    report(found([maskFault(use.layer, decoded.census)]), use)
    if (!misfit(header, use.layer)) report(zoneFaults(use, decoded.census), use)
  }
  return { findings, facts: factsByUse(uses, decoded) }
}
