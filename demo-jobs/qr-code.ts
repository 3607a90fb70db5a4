// QR codes for the captures, from a writer that is independent of the reader; and the wear that leaves them barely readable.
import writer from 'bwip-js'
import { seeded } from './random.ts'

/** Modules along a side of a QR code of version 2. */
export const qrSide = 25

/** Codewords in version 2; level Q makes one block of them, of which 22 are error correction, so that eleven may be wrong. */
const codewordCount = 44

/** Wrong codewords in a worn code: unused error correction falls to 1 − 2·9/22 = 0.18. */
const wornCodewords = 9

export interface QrModules {
  /** One byte a module, row after row; 1 is dark. */
  readonly dark: Uint8Array
}

/** The code of a text, version 2 level Q (at most 29 characters of the alphanumeric set). `mask` is 0 to 7. */
export function qrModules(text: string, mask: number): QrModules {
  const [drawn] = writer.raw('qrcode', text, `eclevel=Q version=2 mask=${mask + 1}`)
  if (!drawn || !('pixs' in drawn) || drawn.pixx !== qrSide) {
    throw new Error(`invariant broken: ${text} makes a QR code of version 2`)
  }
  return { dark: Uint8Array.from(drawn.pixs) }
}

// Finder, format, timing and alignment patterns of version 2 (ISO/IEC 18004): everything that is not a codeword's module.
function isPattern(row: number, column: number): boolean {
  const corner = (row < 9 && (column < 9 || column > 16)) || (row > 16 && column < 9)
  const alignment = Math.abs(row - 18) <= 2 && Math.abs(column - 18) <= 2
  return corner || alignment || row === 6 || column === 6
}

/** Module indices in the order in which codewords are laid, eight to a codeword: pairs of columns, from the right, up and down. */
function codewordModules(): readonly number[] {
  const order: number[] = []
  let upward = true
  for (let right = qrSide - 1; right > 0; right -= 2) {
    if (right === 6) right = 5
    for (let step = 0; step < qrSide; step++) {
      const row = upward ? qrSide - 1 - step : step
      for (const column of [right, right - 1]) if (!isPattern(row, column)) order.push(row * qrSide + column)
    }
    upward = !upward
  }
  return order
}

const laid = codewordModules()

/** Spots and pinholes: flips one or two modules in each of nine codewords, which error correction can still mend. */
export function wear({ dark }: QrModules, seed: number): QrModules {
  const random = seeded(seed)
  const codewords = new Set<number>()
  while (codewords.size < wornCodewords) codewords.add(Math.floor(random() * codewordCount))
  const worn = dark.slice()
  const flip = (index: number): void => {
    worn[index] = worn[index] === 1 ? 0 : 1
  }
  for (const codeword of codewords) {
    const bit = Math.floor(random() * 7)
    flip(laid[codeword * 8 + bit] ?? 0)
    if (random() < 0.5) flip(laid[codeword * 8 + bit + 1] ?? 0)
  }
  return { dark: worn }
}
