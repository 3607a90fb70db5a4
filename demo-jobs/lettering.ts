// A stroke alphabet: every letter is a few lines and arcs, so that lettering needs no font on the machine that draws it.

interface Glyph {
  readonly widthUnits: number
  readonly path: string
}

const capUnits = 100
const gapUnits = 32

const round = 'M44 0 A44 50 0 1 0 44 100 A44 50 0 1 0 44 0 Z'
const stem = 'M0 0 V100'
const bowl = 'M0 100 V0 H36 A28 28 0 0 1 36 56 H0'

const alphabet: Readonly<Record<string, Glyph>> = {
  A: { widthUnits: 80, path: 'M0 100 L40 0 L80 100 M14 66 H66' },
  B: { widthUnits: 65, path: 'M0 0 V100 H38 A27 27 0 0 0 38 46 H0 M36 46 A23 23 0 0 0 36 0 H0' },
  C: { widthUnits: 78, path: 'M76 20 A42 50 0 1 0 76 80' },
  D: { widthUnits: 80, path: 'M0 0 V100 H30 A50 50 0 0 0 30 0 Z' },
  E: { widthUnits: 56, path: 'M56 0 H0 V100 H56 M0 48 H46' },
  F: { widthUnits: 54, path: 'M54 0 H0 V100 M0 48 H44' },
  G: { widthUnits: 80, path: 'M76 20 A42 50 0 1 0 79 74 V56 H50' },
  H: { widthUnits: 70, path: `${stem} M70 0 V100 M0 48 H70` },
  I: { widthUnits: 2, path: 'M1 0 V100' },
  J: { widthUnits: 38, path: 'M38 0 V74 A20 26 0 0 1 0 78' },
  K: { widthUnits: 66, path: `${stem} M62 0 L0 62 M22 42 L66 100` },
  L: { widthUnits: 54, path: 'M0 0 V100 H54' },
  M: { widthUnits: 88, path: 'M0 100 V0 L44 70 L88 0 V100' },
  N: { widthUnits: 72, path: 'M0 100 V0 L72 100 V0' },
  O: { widthUnits: 88, path: round },
  P: { widthUnits: 64, path: bowl },
  Q: { widthUnits: 90, path: `${round} M56 70 L90 106` },
  R: { widthUnits: 66, path: `${bowl} M34 56 L66 100` },
  S: { widthUnits: 62, path: 'M58 18 C50 -6 4 -8 4 24 C4 58 62 42 62 76 C62 108 8 108 0 80' },
  T: { widthUnits: 72, path: 'M0 0 H72 M36 0 V100' },
  U: { widthUnits: 68, path: 'M0 0 V66 A34 34 0 0 0 68 66 V0' },
  V: { widthUnits: 80, path: 'M0 0 L40 100 L80 0' },
  W: { widthUnits: 120, path: 'M0 0 L30 100 L60 10 L90 100 L120 0' },
  X: { widthUnits: 70, path: 'M0 0 L70 100 M70 0 L0 100' },
  Y: { widthUnits: 72, path: 'M0 0 L36 52 L72 0 M36 52 V100' },
  Z: { widthUnits: 68, path: 'M2 0 H66 L0 100 H68' },
  '0': { widthUnits: 64, path: 'M32 0 A32 50 0 1 0 32 100 A32 50 0 1 0 32 0 Z' },
  '1': { widthUnits: 64, path: 'M14 18 L36 0 V100' },
  '2': { widthUnits: 64, path: 'M2 26 A30 28 0 0 1 62 28 C62 52 6 74 0 100 H64' },
  '3': { widthUnits: 64, path: 'M4 18 A28 25 0 1 1 32 46 A29 27 0 1 1 0 82' },
  '4': { widthUnits: 64, path: 'M48 100 V0 L0 70 H64' },
  '5': { widthUnits: 64, path: 'M58 0 H10 L5 44 A31 31 0 1 1 0 84' },
  '6': { widthUnits: 64, path: 'M52 4 C20 10 2 40 2 68 A30 32 0 1 0 62 68 A30 32 0 0 0 4 62' },
  '7': { widthUnits: 64, path: 'M0 0 H62 L20 100' },
  '8': {
    widthUnits: 64,
    path: 'M32 0 A24 23 0 1 0 32 46 A24 23 0 1 0 32 0 M32 46 A30 27 0 1 0 32 100 A30 27 0 1 0 32 46',
  },
  '9': { widthUnits: 64, path: 'M12 96 C44 90 62 60 62 32 A30 32 0 1 0 2 32 A30 32 0 0 0 60 38' },
  ' ': { widthUnits: 30, path: '' },
  '.': { widthUnits: 4, path: 'M2 97 V100' },
  '-': { widthUnits: 34, path: 'M0 52 H34' },
}

export interface Lettering {
  readonly text: string
  /** Middle of the baseline's length. */
  readonly xMm: number
  /** Upper edge of the capitals. */
  readonly yMm: number
  readonly capMm: number
  readonly strokeMm: number
  /** Wide lettering is squeezed to this. */
  readonly widthMmMax: number
}

/** Lettering as one SVG group of strokes, in mm, centred on `xMm`; the colour is the caller's. Throws on a letter it lacks. */
export function lettering({ text, xMm, yMm, capMm, strokeMm, widthMmMax }: Lettering, colour: string): string {
  const glyphs = [...text].map((letter) => {
    const glyph = alphabet[letter]
    if (!glyph) throw new Error(`the stroke alphabet has no ${letter}`)
    return glyph
  })
  const lengthUnits = glyphs.reduce((sum, glyph) => sum + glyph.widthUnits + gapUnits, -gapUnits)
  const scaleY = capMm / capUnits
  const scaleX = Math.min(scaleY, widthMmMax / lengthUnits)
  let x = 0
  const paths = glyphs.map((glyph) => {
    const placed = glyph.path === '' ? '' : `<path transform="translate(${x} 0)" d="${glyph.path}"/>`
    x += glyph.widthUnits + gapUnits
    return placed
  })
  const left = xMm - (lengthUnits * scaleX) / 2
  const stroke = `fill="none" stroke="${colour}" stroke-width="${strokeMm / scaleY}" stroke-linecap="round" stroke-linejoin="round"`
  return `<g transform="translate(${left} ${yMm}) scale(${scaleX} ${scaleY})" ${stroke}>${paths.join('')}</g>`
}
