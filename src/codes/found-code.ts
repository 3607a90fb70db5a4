// A code as it was found in a picture, and the decision whether its content is text.

export interface PointPx {
  readonly x: number
  readonly y: number
}

export interface FoundCode {
  /** Absent where the content is no text that can be trusted (see `toText`). */
  readonly text?: string
  /** ISO/IEC 15424 symbology identifier, such as `]Q1`. */
  readonly identifier: string
  /** The reader's name of the symbology. */
  readonly format: string
  /** Unused error correction, 0 to 1; absent in symbologies without error correction. */
  readonly quality?: number
  /** Corners in pixels of the picture, clockwise from the one that is the upper left of the symbol as it reads. */
  readonly corners: readonly [PointPx, PointPx, PointPx, PointPx]
  readonly centre: PointPx
}

/** What the decision needs of a decoded symbol. */
export interface Content {
  readonly bytes: Uint8Array
  /** The bytes turned into text by the character sets that the symbol names, where it names any. */
  readonly text: string
  readonly hasECI: boolean
  readonly contentType: 'Text' | 'Binary' | 'Mixed' | 'GS1' | 'ISO15434' | 'UnknownECI'
  /** Symbols in the structured append sequence; −1 where the symbol stands alone. */
  readonly sequenceSize: number
  readonly readerInit: boolean
}

const strictUtf8 = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })

/**
 * The text of a symbol, or undefined. Without ECI the bytes are read as UTF-8, strictly: no character set is ever guessed, so one
 * symbol has one text everywhere. With ECI the named character sets hold. Control characters stay as they are, the group separator
 * 0x1D of GS1 element strings among them. No text: bytes that aren't UTF-8, unknown ECIs, a part of a structured append sequence,
 * a symbol that programs readers, and nothing at all.
 */
export function toText(content: Content): string | undefined {
  if (content.sequenceSize !== -1 || content.readerInit || content.bytes.length === 0) return undefined
  if (!content.hasECI) return decodeStrictly(content.bytes)
  const isReadable = content.contentType !== 'UnknownECI' && content.contentType !== 'Binary'
  return isReadable && !content.text.includes('\uFFFD') ? content.text : undefined
}

function decodeStrictly(bytes: Uint8Array): string | undefined {
  try {
    return strictUtf8.decode(bytes)
  } catch {
    return undefined
  }
}
