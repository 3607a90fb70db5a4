// Preserves carry QR codes of version 2, level Q; spots and pinholes leave some of them barely readable.
import { seeded } from '../random.ts'
import { type Modules, qrModules } from '../symbols.ts'

/** Modules along a side of a QR code of version 2. */
const qrSide = 25

/** Codewords in version 2; level Q makes one block of them, of which 22 are error correction, so that eleven may be wrong. */
const codewordCount = 44

/** Wrong codewords in a worn code: unused error correction falls to 1 − 2·9/22 = 0.18. */
const wornCodewords = 9

/** The code of a text of at most 29 characters of the alphanumeric set. `mask` is 0 to 7. */
export const preservesCode = (text: string, mask: number): Modules => qrModules(text, { version: 2, level: 'Q', mask })

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

/** Flips one or two modules in each of nine codewords of a preserves code, which error correction can still mend. */
export function wear({ side, dark }: Modules, seed: number): Modules {
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
  return { side, dark: worn }
}
