// Reads the codes of a drawn capture with the decoder itself, so that the drawings are judged by nothing of ours.
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import sharp, { type Sharp } from 'sharp'
import { prepareZXingModule, type ReaderOptions, readBarcodes } from 'zxing-wasm/full'
import type { Scenario } from '../demo-jobs/scenario.ts'
import { type CodeSpot, camera } from '../demo-jobs/web.ts'

const require = createRequire(import.meta.url)
prepareZXingModule({
  overrides: {
    wasmBinary: Uint8Array.from(readFileSync(require.resolve('zxing-wasm/full/zxing_full.wasm'))).buffer,
  },
})

export interface CodeSeen {
  readonly text: string
  readonly x: number
  readonly y: number
  /** Unused error correction, 0 to 1. */
  readonly unused: number
}

type Formats = NonNullable<ReaderOptions['formats']>

async function decode(image: Sharp, options: ReaderOptions): Promise<CodeSeen[]> {
  const { data, info } = await image.toColourspace('srgb').ensureAlpha().raw().toBuffer({ resolveWithObject: true })
  const pixels = {
    data: Uint8ClampedArray.from(data),
    width: info.width,
    height: info.height,
    colorSpace: 'srgb' as const,
  }
  const found = await readBarcodes(pixels, options)
  return found
    .filter(({ isValid }) => isValid)
    .map(({ text, position, extra }) => ({
      text,
      x: (position.topLeft.x + position.bottomRight.x) / 2,
      y: (position.topLeft.y + position.bottomRight.y) / 2,
      unused: Number((JSON.parse(extra || '{}') as { UEC?: string | number }).UEC),
    }))
}

const isMatrix = ({ job }: Scenario): boolean => job.code.symbologies.includes('data-matrix')

/** Every code of a capture in the symbology of its job, upright or turned. */
export const codesOf = (scenario: Scenario, jpeg: Buffer): Promise<CodeSeen[]> =>
  decode(sharp(jpeg), {
    formats: isMatrix(scenario) ? ['DataMatrix'] : ['QRCodeModel2'],
    maxNumberOfSymbols: 8,
    tryHarder: true,
    tryRotate: isMatrix(scenario),
    tryInvert: false,
  })

/** Where the middle of a code should be in a capture, pixels. */
function centrePx({ box }: CodeSpot): { x: number; y: number } {
  return {
    x: (box.leftMm + box.widthMm / 2 - camera.leftMm) * camera.pxPerMm,
    y: (box.topMm + box.heightMm / 2) * camera.pxPerMm,
  }
}

/** The code that stands at a spot, within 3 mm of it. */
export function codeAt(spot: CodeSpot, codes: readonly CodeSeen[]): CodeSeen | undefined {
  const centre = centrePx(spot)
  return codes.find(({ x, y }) => Math.hypot(x - centre.x, y - centre.y) < 3 * camera.pxPerMm)
}

const mendings: readonly ((part: Sharp, sizePx: number) => Sharp)[] = [
  (part) => part,
  (part, sizePx) => part.resize(2 * sizePx),
  (part, sizePx) => part.resize(3 * sizePx),
  (part) => part.blur(1.2),
  (part) => part.normalise(),
  (part, sizePx) =>
    part
      .blur(1.2)
      .normalise()
      .resize(2 * sizePx),
  (part, sizePx) => part.resize(3 * sizePx).sharpen({ sigma: 3, m1: 4, m2: 4 }),
  (part) => part.clahe({ width: 30, height: 30 }),
  (part) => part.linear(4, -80),
  (part) => part.linear(6, -1200),
]

/** Texts read at a spot after every mending that might save a code: enlarging, blurring, stretching, sharpening. */
export async function textsAfterMending(
  scenario: Scenario,
  { jpeg, spot }: { jpeg: Buffer; spot: CodeSpot },
): Promise<readonly string[]> {
  const formats: Formats = isMatrix(scenario) ? ['DataMatrix'] : ['QRCode']
  const centre = centrePx(spot)
  const sizePx = Math.round(spot.box.widthMm * camera.pxPerMm) + 140
  const { width, height } = await sharp(jpeg).metadata()
  const [left, top] = [
    Math.max(0, Math.round(centre.x - sizePx / 2)),
    Math.max(0, Math.round(centre.y - sizePx / 2)),
  ] as const
  const part = { left, top, width: Math.min(sizePx, width - left), height: Math.min(sizePx, height - top) }
  const texts: string[] = []
  for (const mend of mendings) {
    for (const binarizer of ['LocalAverage', 'GlobalHistogram'] as const) {
      const mended = await mend(sharp(jpeg).extract(part), part.width).png().toBuffer()
      const found = await decode(sharp(mended), { formats, binarizer, tryHarder: true, maxNumberOfSymbols: 4 })
      texts.push(...found.map(({ text }) => text))
    }
  }
  return texts
}
