// Pictures made once and used for every capture: paper, printed labels and the digits of serial numbers, at the camera's resolution.
import sharp from 'sharp'
import { printArt, svgOf } from './artwork.ts'
import { type GrayPicture, turned } from './gray-picture.ts'
import { type RegionMm, wholeLabel } from './label-layout.ts'
import { lettering } from './lettering.ts'
import { type DemoJob, designNamed } from './orders.ts'
import { seeded } from './random.ts'
import { type DemoCell, px } from './web.ts'

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
function drawGrain(): Int8Array {
  const random = seeded(85)
  let fibres = Float32Array.from({ length: tile.width * tile.height }, () => random() - 0.5)
  const across = { count: tile.width, step: 1, lines: tile.height, lineStep: tile.width }
  const along = { count: tile.height, step: tile.width, lines: tile.width, lineStep: 1 }
  for (const run of [across, along, along, along]) fibres = Float32Array.from(smoothed(fibres, run))
  return Int8Array.from(fibres, (value) => Math.round(value * 34 + (random() - 0.5) * 3))
}

/** Gray of printing ink over the grain of the paper under it. */
function onPaper(picture: GrayPicture, grain: Int8Array): GrayPicture {
  const data = picture.data.map((value, at) => {
    const column = at % picture.width
    const row = (at - column) / picture.width
    const under = grain[(row % tile.height) * tile.width + (column % tile.width)] ?? 0
    return Math.min(255, Math.max(0, value + (under * (value + 90)) / 345))
  })
  return { ...picture, data }
}

const digitBox: RegionMm = { leftMm: 0, topMm: 0, widthMm: 1.2, heightMm: 1.6 }

const drawDigits = (): Promise<readonly GrayPicture[]> =>
  Promise.all(
    Array.from('0123456789', (text) =>
      drawn(digitBox, lettering({ text, xMm: 0.6, yMm: 0.2, capMm: 1.2, strokeMm: 0.2, widthMmMax: 1 }, '#333')),
    ),
  )

/** Which printed label is meant. */
export interface PrintedArt {
  readonly job: string
  readonly design: string
  readonly print: string
}

export interface Stencils {
  /** Paper gray with its grain; joins itself on all sides. */
  readonly paper: GrayPicture
  /** A printed label with its bleed, turned as its cell is, without code and serial number. Drawn once each. */
  label(art: PrintedArt, rotateDeg: DemoCell['rotateDeg']): Promise<GrayPicture>
  /** Black on white, 0 to 9. */
  digits(rotateDeg: DemoCell['rotateDeg']): Promise<readonly GrayPicture[]>
}

export function openStencils(jobs: readonly DemoJob[]): Stencils {
  const grain = drawGrain()
  const labels = new Map<string, Promise<GrayPicture>>()
  const upright = drawDigits()
  const drawLabel = async ({ job, design, print }: PrintedArt): Promise<GrayPicture> => {
    const order = jobs.find((candidate) => candidate.job === job)
    if (!order) throw new Error(`invariant broken: the roll carries ${job}`)
    const found = designNamed(order, design)
    return onPaper(await drawn(wholeLabel(found.layout), printArt(found, order.brand, print)), grain)
  }
  return {
    paper: { ...tile, data: Uint8Array.from(grain, (value) => 234 + value) },
    label(art, rotateDeg) {
      const key = `${art.job}/${art.design}/${art.print}/${rotateDeg}`
      const label = labels.get(key) ?? drawLabel(art).then((picture) => turned(picture, rotateDeg))
      labels.set(key, label)
      return label
    },
    digits: async (rotateDeg) => (await upright).map((digit) => turned(digit, rotateDeg)),
  }
}
