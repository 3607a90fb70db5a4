// The decoder: ZXing-C++ as WebAssembly, loaded from node_modules and never from anywhere else.
import { readFile } from 'node:fs/promises'
import { createRequire } from 'node:module'
import {
  prepareZXingModule,
  purgeZXingModule,
  type ReaderOptions,
  type ReadResult,
  readBarcodes,
} from 'zxing-wasm/reader'
import { type FoundCode, toText } from './found-code.ts'
import type { GrayPicture } from './gray.ts'
import { openPixmap, type Pixmap } from './pixmap.ts'
import { unusedCorrection } from './unused-correction.ts'

/** The reader's own names; `QRCodeModel2` rather than `QRCode`, under which Micro QR is read too and glare makes false ones. */
export type Format = NonNullable<ReaderOptions['formats']>[number]

export interface ScanOptions {
  readonly formats: readonly Format[]
  /** At most so many codes are looked for, 1 to 255. */
  readonly symbolsMax: number
  /** `quick` takes upright, dark on light, full scale; `thorough` tries turned, inverted and reduced too. */
  readonly effort: 'quick' | 'thorough'
}

/** How the decoder is called: `luminance` hands over gray levels, `public` takes four bytes a pixel and is slower. */
export type ScannerPath = 'luminance' | 'public'

export interface Scanner {
  readonly path: ScannerPath
  /** The valid codes in the picture; codes with errors, or mended beyond what their standard allows, are none. */
  scan(picture: GrayPicture, options: ScanOptions): Promise<readonly FoundCode[]>
}

/**
 * One decoder for this thread. Without `path` the gray-level call is taken where this build of the library has it (it is not part
 * of the public interface), else the public one; both give the same codes.
 */
export async function openScanner(path?: ScannerPath): Promise<Scanner> {
  const pixmap = await load()
  if (path === 'public' || pixmap === undefined) {
    return { path: 'public', scan: async (picture, options) => toCodes(await scanPublic(picture, options)) }
  }
  return { path: 'luminance', scan: async (picture, options) => toCodes(pixmap.read(picture, toOptions(options))) }
}

async function load(): Promise<Pixmap | undefined> {
  const wasm = createRequire(import.meta.url).resolve('zxing-wasm/reader/zxing_reader.wasm')
  // The default `locateFile` names a host on the network; the bytes are in hand, and nothing else may be asked for.
  purgeZXingModule()
  const module = await prepareZXingModule({
    overrides: { wasmBinary: new Uint8Array(await readFile(wasm)).buffer, locateFile: () => wasm },
    fireImmediately: true,
  })
  return openPixmap(module)
}

async function scanPublic(picture: GrayPicture, options: ScanOptions): Promise<readonly ReadResult[]> {
  const { width, height } = picture
  const pixels = new Uint32Array(picture.data.length)
  for (let index = 0; index < pixels.length; index++) pixels[index] = (picture.data[index] ?? 0) * 0x01010101
  const data = new Uint8ClampedArray(pixels.buffer)
  return await readBarcodes({ data, width, height, colorSpace: 'srgb' } as ImageData, toOptions(options))
}

function toOptions({ formats, symbolsMax, effort }: ScanOptions): ReaderOptions {
  const thorough = effort === 'thorough'
  const isLinear = formats.some((format) => linearFormats.has(format))
  return {
    formats: [...formats],
    maxNumberOfSymbols: Math.min(255, Math.max(1, symbolsMax)),
    tryHarder: thorough,
    // The bars of a linear code run along or across the web, and a Data Matrix is only found upright without this.
    tryRotate: thorough || isLinear || formats.includes('DataMatrix'),
    tryInvert: thorough,
    tryDownscale: thorough,
    textMode: 'Plain',
    returnErrors: false,
  }
}

const linearFormats: ReadonlySet<Format> = new Set(['Code128', 'DataBar', 'EAN13', 'EAN8', 'UPCA', 'UPCE'])

function toCodes(results: readonly ReadResult[]): readonly FoundCode[] {
  return results.flatMap((result) => {
    const quality = unusedCorrection(result.extra)
    return result.isValid && quality !== 'overdrawn' ? [toCode(result, quality)] : []
  })
}

function toCode(result: ReadResult, quality: number | 'none'): FoundCode {
  const { topLeft, topRight, bottomRight, bottomLeft } = result.position
  const corners = [topLeft, topRight, bottomRight, bottomLeft] as const
  const text = toText(result)
  return {
    ...(text === undefined ? {} : { text }),
    identifier: result.symbologyIdentifier,
    format: result.format,
    ...(quality === 'none' ? {} : { quality }),
    corners,
    centre: {
      x: corners.reduce((sum, corner) => sum + corner.x, 0) / 4,
      y: corners.reduce((sum, corner) => sum + corner.y, 0) / 4,
    },
  }
}
