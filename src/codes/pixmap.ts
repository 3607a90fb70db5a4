// The decoder's own call on gray levels. The library's public call wants four bytes a pixel and turns them back into one; this call
// is typed by the library but not promised, so its presence is checked before use.
import {
  BINARIZERS,
  CHARACTER_SETS,
  CONTENT_TYPES,
  defaultReaderOptions,
  EAN_ADD_ON_SYMBOLS,
  encodeFormats,
  type ReaderOptions,
  type ReadResult,
  TEXT_MODES,
} from 'zxing-wasm/reader'
import type { GrayPicture } from './gray.ts'

export interface Pixmap {
  read(picture: GrayPicture, options: ReaderOptions): readonly ReadResult[]
}

type RawResult = Omit<ReadResult, 'contentType'> & { readonly contentType: number }

interface RawResults {
  size(): number
  get(index: number): RawResult | undefined
  /** Frees the list in the decoder's memory. */
  delete(): void
}

interface Native {
  readonly HEAPU8: Uint8Array
  _malloc(bytes: number): number
  _free(pointer: number): void
  readBarcodesFromPixmap(pointer: number, width: number, height: number, options: unknown): RawResults
}

/** Undefined where this build of the library lacks the call. */
export function openPixmap(module: unknown): Pixmap | undefined {
  return isNative(module) ? { read: (picture, options) => readPixmap(module, picture, options) } : undefined
}

function isNative(module: unknown): module is Native {
  const { readBarcodesFromPixmap, _malloc, _free, HEAPU8 } = module as Partial<Native>
  return [readBarcodesFromPixmap, _malloc, _free].every((call) => typeof call === 'function') && HEAPU8 !== undefined
}

function readPixmap(native: Native, picture: GrayPicture, options: ReaderOptions): readonly ReadResult[] {
  const pointer = native._malloc(picture.data.length)
  if (pointer === 0) throw new Error(`the decoder has no ${picture.data.length} bytes left`)
  try {
    // `HEAPU8` is read anew each time: the view is replaced when the memory grows.
    native.HEAPU8.set(picture.data, pointer)
    const results = native.readBarcodesFromPixmap(pointer, picture.width, picture.height, encodeOptions(options))
    try {
      return Array.from({ length: results.size() }, (_, index) => results.get(index)).flatMap((result) =>
        result ? [{ ...result, contentType: CONTENT_TYPES[result.contentType] ?? 'Binary' }] : [],
      )
    } finally {
      results.delete()
    }
  } finally {
    native._free(pointer)
  }
}

/** The decoder takes names as their place in the library's lists. */
function encodeOptions(options: ReaderOptions): unknown {
  const all = { ...defaultReaderOptions, ...options }
  return {
    ...all,
    formats: encodeFormats(all.formats),
    binarizer: BINARIZERS.indexOf(all.binarizer),
    eanAddOnSymbol: EAN_ADD_ON_SYMBOLS.indexOf(all.eanAddOnSymbol),
    textMode: TEXT_MODES.indexOf(all.textMode),
    characterSet: CHARACTER_SETS.indexOf(all.characterSet as (typeof CHARACTER_SETS)[number]),
  }
}
