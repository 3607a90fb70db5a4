// Codes for the captures, from a writer that is independent of the reader.
import writer from 'bwip-js'

/** A square code without its quiet zone. */
export interface Modules {
  readonly side: number
  /** One byte a module, row after row; 1 is dark. */
  readonly dark: Uint8Array
}

function written(symbology: string, text: string, options: string): Modules {
  const [drawn] = writer.raw(symbology, text, options)
  if (!drawn || !('pixs' in drawn) || drawn.pixx * drawn.pixx !== drawn.pixs.length) {
    throw new Error(`invariant broken: ${text} makes a square ${symbology} code`)
  }
  return { side: drawn.pixx, dark: Uint8Array.from(drawn.pixs) }
}

/** The QR code of a text in a given version (1 to 40) and level; `mask` is 0 to 7. Throws where the text is too long for it. */
export const qrModules = (
  text: string,
  form: { version: number; level: 'L' | 'M' | 'Q' | 'H'; mask: number },
): Modules => written('qrcode', text, `eclevel=${form.level} version=${form.version} mask=${form.mask + 1}`)

/** The Data Matrix code of a text with `side` modules a side. Throws where the text is too long for it. */
export const dataMatrixModules = (text: string, side: number): Modules =>
  written('datamatrix', text, `version=${side}x${side}`)
