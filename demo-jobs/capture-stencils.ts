// Pictures made once and used for every capture: paper, printed labels and the digits of serial numbers, at the camera's resolution.
import sharp from 'sharp'
import { printArt, type RegionMm, svgOf, wholeCell } from './artwork.ts'
import { lettering } from './lettering.ts'
import { type DemoDesign, demoJobs } from './orders.ts'
import { seeded } from './random.ts'
import { camera } from './web.ts'

/** A gray picture, one byte a pixel, row after row. */
export interface GrayPicture {
  readonly width: number
  readonly height: number
  readonly data: Uint8Array
}

const px = (mm: number): number => Math.round(mm * camera.pxPerMm)

async function drawn(region: RegionMm, content: string): Promise<GrayPicture> {
  const size = { width: px(region.widthMm), height: px(region.heightMm) }
  const image = sharp(svgOf(region, size, content))
    .flatten({ background: '#fff' })
    .toColourspace('b-w')
  return { ...size, data: await image.extractChannel(0).raw().toBuffer() }
}

// Smooths rows, or columns when `step` is the width; wraps round, so that tiles join.
function smoothed(
  from: Float32Array,
  run: { count: number; step: number; lines: number; lineStep: number },
): Float32Array {
  const out = new Float32Array(from.length)
  for (let line = 0; line < run.lines; line++) {
    for (let at = 0; at < run.count; at++) {
      const sample = (offset: number) =>
        from[line * run.lineStep + ((at + offset + run.count) % run.count) * run.step] ?? 0
      out[line * run.lineStep + at * run.step] = (sample(-2) + sample(-1) + sample(0) + sample(1) + sample(2)) / 5
    }
  }
  return out
}

const tile = { width: 700, height: 512 } as const

/** Deviations from the paper's own gray: fibres along the web over finer grain, a tile that joins itself on all sides. */
function paperGrain(): Int8Array {
  const random = seeded(85)
  let fibres = Float32Array.from({ length: tile.width * tile.height }, () => random() - 0.5)
  const across = { count: tile.width, step: 1, lines: tile.height, lineStep: tile.width }
  const along = { count: tile.height, step: tile.width, lines: tile.width, lineStep: 1 }
  for (const run of [across, along, along, along]) fibres = Float32Array.from(smoothed(fibres, run))
  return Int8Array.from(fibres, (value) => Math.round(value * 34 + (random() - 0.5) * 3))
}

const grain = paperGrain()

/** Paper gray with its grain. */
export const paper: GrayPicture = { ...tile, data: Uint8Array.from(grain, (value) => 234 + value) }

/** Gray of printing ink over the grain of the paper under it. */
function onPaper(picture: GrayPicture): GrayPicture {
  const data = picture.data.map((value, at) => {
    const column = at % picture.width
    const row = (at - column) / picture.width
    const under = grain[(row % tile.height) * tile.width + (column % tile.width)] ?? 0
    return Math.min(255, Math.max(0, value + (under * (value + 90)) / 345))
  })
  return { ...picture, data }
}

const labels = new Map<string, Promise<GrayPicture>>()

function findDesign(job: string, design: string): { design: DemoDesign; brand: string } {
  const order = demoJobs.find((candidate) => candidate.job === job)
  const found = order?.designs.find((candidate) => candidate.design === design)
  if (!order || !found) throw new Error(`invariant broken: ${job} has the design ${design}`)
  return { design: found, brand: order.brand }
}

/** A printed label with its bleed, without code and serial number. Drawn once for each design and print version. */
export function labelStencil({
  job,
  design,
  print,
}: {
  job: string
  design: string
  print: string
}): Promise<GrayPicture> {
  const key = `${job}/${design}/${print}`
  const known = labels.get(key)
  if (known) return known
  const found = findDesign(job, design)
  const made = drawn(wholeCell, printArt(found.design, found.brand, print)).then(onPaper)
  labels.set(key, made)
  return made
}

const digitBox: RegionMm = { leftMm: 0, topMm: 0, widthMm: 1.2, heightMm: 1.6 }

/** Black on white, 0 to 9. */
export const digitStencils: Promise<readonly GrayPicture[]> = Promise.all(
  Array.from('0123456789', (text) =>
    drawn(digitBox, lettering({ text, xMm: 0.6, yMm: 0.2, capMm: 1.2, strokeMm: 0.2, widthMmMax: 1 }, '#333')),
  ),
)
