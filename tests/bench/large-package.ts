// A job package of any number of designs with two layers each: an 8-bit relief and a 1-bit mask of 480 × 540 px, every file another.
import { mkdir, writeFile } from 'node:fs/promises'
import path from 'node:path'
import sharp from 'sharp'
import { encodePng } from '../../demo-jobs/png.ts'
import { webFrame } from '../../demo-jobs/quillgarth-preserves/web.ts'
import { seeded } from '../../demo-jobs/random.ts'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import type { Manifest } from '../../src/packages/index.ts'

const widthPx = 480
const heightPx = 540
const dpi = 360
const textureSide = 1_536

/** Rolling ground with grain: about a third of it at 0, the rest in all heights. Windows of it are the designs. */
function paintTexture(): Uint8Array {
  const random = seeded(12)
  const waves = Array.from({ length: 9 }, () => ({
    along: (random() - 0.5) / 14,
    across: (random() - 0.5) / 14,
    phase: random() * 6,
  }))
  const pixels = new Uint8Array(textureSide * textureSide)
  for (let y = 0; y < textureSide; y++) {
    for (let x = 0; x < textureSide; x++) {
      let height = 0
      for (const { along, across, phase } of waves) height += Math.sin(x * across + y * along + phase)
      pixels[y * textureSide + x] = Math.max(0, Math.min(255, 40 + height * 45 + (height > -0.8 ? random() * 6 : 0)))
    }
  }
  return pixels
}

function windowOf(texture: Uint8Array, at: { left: number; top: number }): Uint8Array {
  const pixels = new Uint8Array(widthPx * heightPx)
  for (let y = 0; y < heightPx; y++) {
    const start = (at.top + y) * textureSide + at.left
    pixels.set(texture.subarray(start, start + widthPx), y * widthPx)
  }
  return pixels
}

const reliefPng = (pixels: Uint8Array): Promise<Buffer> =>
  sharp(pixels, { raw: { width: widthPx, height: heightPx, channels: 1 } })
    .toColourspace('b-w')
    .png({ compressionLevel: 6, adaptiveFiltering: true })
    .toBuffer()

/** Set where the relief is high. */
const maskPng = (pixels: Uint8Array): Uint8Array =>
  encodePng({ widthPx, heightPx, dpi, depth: 1, pixels: pixels.map((value) => (value > 150 ? 255 : 0)) })

type Layer = Manifest['designs'][number]['layers'][number]

const layer = (change: Pick<Layer, 'layer' | 'station' | 'order' | 'file' | 'sha256'> & Partial<Layer>): Layer => ({
  pass: 1,
  scope: 'cell',
  resolution: { acrossDpi: dpi, alongDpi: dpi },
  placement: { leftMm: 0, topMm: 0, widthMm: (25.4 * widthPx) / dpi, heightMm: (25.4 * heightPx) / dpi },
  ...change,
})

export interface LayerBytes {
  readonly relief: Uint8Array
  readonly mask: Uint8Array
}

/** The layers of so many designs; the first ones are the same for every number. */
export async function drawDesigns(count: number): Promise<readonly LayerBytes[]> {
  const texture = paintTexture()
  const random = seeded(77)
  const designs: Promise<LayerBytes>[] = []
  for (let i = 0; i < count; i++) {
    const left = Math.floor(random() * (textureSide - widthPx))
    const top = Math.floor(random() * (textureSide - heightPx))
    const pixels = windowOf(texture, { left, top })
    designs.push(reliefPng(pixels).then((relief) => ({ relief, mask: maskPng(pixels) })))
    // Some at once keep all cores busy without holding every window in memory.
    if (i % 8 === 7) await Promise.all(designs.slice(-8))
  }
  return Promise.all(designs)
}

/** Writes a package of these designs, its manifest last. */
export async function writePackage(folder: string, designs: readonly LayerBytes[]): Promise<void> {
  await mkdir(folder, { recursive: true })
  const rows: Manifest['designs'] = []
  for (const [i, { relief, mask }] of designs.entries()) {
    const design = `D${String(i).padStart(4, '0')}`
    const files = { relief: `${design}-relief.png`, mask: `${design}-mask.png` }
    await writeFile(path.join(folder, files.relief), relief)
    await writeFile(path.join(folder, files.mask), mask)
    const foil = { layer: 'gold', station: 'foil', order: 1, file: files.mask, sha256: sha256Hex(mask) } as const
    const varnish = {
      layer: 'relief',
      station: 'inkjet',
      order: 2,
      file: files.relief,
      sha256: sha256Hex(relief),
    } as const
    const layers = [layer({ ...foil, foil: 'gold-satin' }), layer({ ...varnish, heightUm: 60 })]
    rows.push({ design, version: 1, printVersions: ['01'], layers })
  }
  const manifest: Manifest = {
    schema: 'rollcall.job/1',
    job: 'LARGE',
    package: 1,
    title: `${designs.length} designs of two layers`,
    frame: { ...webFrame, cells: [...webFrame.cells], substrates: [...webFrame.substrates] },
    code: { rule: 'template', symbologies: ['qr'], template: '{job}/{design}/{print:2}/{serial:6d}' },
    designs: rows,
  }
  await writeFile(path.join(folder, 'job.json'), JSON.stringify(manifest))
}
