// Reading all codes of a picture: where they are expected first, the whole picture when that mostly fails, and then what mending
// can save. Work is bounded by pixels, so that the same picture always gives the same codes however busy the machine is.
import { assert } from '../kernel/assert.ts'
import { type SymbologyName, symbologyLetters } from '../kernel/terms.ts'
import type { FoundCode } from './found-code.ts'
import { type BoxPx, crop, type GrayPicture } from './gray.ts'
import { mergeFound, shifted } from './merge-found.ts'
import { type Rescue, rescues } from './rescues.ts'
import { type Format, openScanner, type Scanner, type ScannerPath, type ScanOptions } from './scanner.ts'

export interface ReadRequest {
  readonly symbologies: readonly SymbologyName[]
  /** At most so many codes are looked for in the whole picture, 1 to 255. */
  readonly symbolsMax: number
  /** Where codes are expected; without any the whole picture is read once, without rescues. */
  readonly places?: readonly BoxPx[]
  /** How far a code may lie off its place on every side; default half of the box. */
  readonly marginPx?: number
}

export interface CodeReader {
  readonly path: ScannerPath
  /** Every code found, each once, in no order. Codes of other symbologies are not seen. */
  read(picture: GrayPicture, request: ReadRequest): Promise<readonly FoundCode[]>
}

/**
 * Pixels given to the decoder for rescues in one picture. Where nothing can be read, a pixel costs about 30 ns (QR), 45 ns (Data
 * Matrix) or 90 ns (Aztec, DataBar) on one core, mending included: at most 0.15 to 0.45 s a picture. The quick looks at 4 places take
 * 2 ms; the whole of 2200 × 600 px takes 9 ms (QR) or 56 ms (Data Matrix), and grows with the picture.
 */
const rescuePixelsMax = 5_000_000

/** Two, so that a second, contradicting code at a place is seen. */
const symbolsAtPlaceMax = 2

/** Opens the decoder of this thread: 5 MB and some 10 ms, so keep it. `open` is for tests and to choose the decoder's path. */
export async function openReader(open: () => Promise<Scanner> = () => openScanner()): Promise<CodeReader> {
  let scanner: Scanner | undefined = await open()
  return {
    path: scanner.path,
    async read(picture, request) {
      assert(picture.data.length === picture.width * picture.height, 'a gray picture has one byte a pixel')
      assert(request.symbologies.length > 0, 'a reader is told what to look for')
      scanner ??= await open()
      try {
        return await readPicture({ scanner, picture, request })
      } catch (error) {
        // WebAssembly that once trapped stays broken: the next picture gets a fresh decoder.
        scanner = undefined
        throw error
      }
    },
  }
}

const formats: Readonly<Record<SymbologyName, readonly Format[]>> = {
  qr: ['QRCodeModel2'],
  'micro-qr': ['MicroQRCode'],
  'data-matrix': ['DataMatrix'],
  'code-128': ['Code128'],
  'gs1-databar': ['DataBar'],
  aztec: ['AztecCode'],
  'ean-upc': ['EAN13', 'EAN8', 'UPCA', 'UPCE'],
}

/** Every symbology that can be read. */
export const readableSymbologies = Object.keys(symbologyLetters) as readonly SymbologyName[]

interface Reading {
  readonly scanner: Scanner
  readonly picture: GrayPicture
  readonly request: ReadRequest
}

async function readPicture(reading: Reading): Promise<readonly FoundCode[]> {
  const regions = regionsOf(reading.request)
  let found: readonly FoundCode[] = []
  for (const region of regions) found = mergeFound(found, await scanRegion(reading, { region, effort: 'quick' }))
  const missed = () => regions.filter((region) => !found.some((code) => code.text !== undefined && holds(region, code)))
  if (missed().length * 2 >= regions.length) found = mergeFound(found, await scanWhole(reading))
  let pixelsLeft = rescuePixelsMax
  for (const rescue of rescues) {
    for (const region of missed()) {
      pixelsLeft -= region.width * region.height * rescue.pixelsFactor
      if (pixelsLeft < 0) return found
      found = mergeFound(found, await scanRegion(reading, { region, effort: 'thorough', rescue }))
    }
  }
  return found
}

function regionsOf({ places = [], marginPx }: ReadRequest): readonly BoxPx[] {
  return places.map((box) => {
    const margin = marginPx ?? Math.max(box.width, box.height) / 2
    return {
      left: box.left - margin,
      top: box.top - margin,
      width: box.width + 2 * margin,
      height: box.height + 2 * margin,
    }
  })
}

const holds = (box: BoxPx, { centre }: FoundCode): boolean =>
  centre.x >= box.left && centre.x <= box.left + box.width && centre.y >= box.top && centre.y <= box.top + box.height

async function scanWhole({ scanner, picture, request }: Reading): Promise<readonly FoundCode[]> {
  return await scanner.scan(picture, { ...lookFor(request), symbolsMax: request.symbolsMax, effort: 'thorough' })
}

async function scanRegion(
  { scanner, picture, request }: Reading,
  look: { readonly region: BoxPx; readonly effort: ScanOptions['effort']; readonly rescue?: Rescue },
): Promise<readonly FoundCode[]> {
  const part = crop(picture, look.region)
  if (part === undefined) return []
  const scale = look.rescue?.scale ?? 1
  const mended = look.rescue?.mend(part.picture) ?? part.picture
  const options = { ...lookFor(request), symbolsMax: symbolsAtPlaceMax, effort: look.effort }
  const codes = await scanner.scan(mended, options)
  return codes.map((code) => shifted(code, { scale, left: part.left, top: part.top }))
}

const lookFor = ({ symbologies }: ReadRequest) => ({ formats: symbologies.flatMap((name) => formats[name]) })
