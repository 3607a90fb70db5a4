// Formulas of rolls: the side of a roll has the area of the web seen edge on (length × thickness). Source: DESIGN §7, STANDARDS.

interface Wound {
  /** Outer diameter of the core, mm. */
  readonly coreOuterMm: number
  /** Of the web, mm. */
  readonly thicknessMm: number
}

/**
 * Length on a roll, m: L = π (D² − d²) / 4t. D and d in mm, d the core's **outer** diameter; 0 where D is not above d.
 *
 * Example: 300 mm on a core of 76 mm at 0.150 mm: 440.996 m.
 */
export const rollLengthM = ({
  diameterMm,
  coreOuterMm,
  thicknessMm,
}: Wound & { readonly diameterMm: number }): number =>
  (Math.PI * Math.max(0, diameterMm ** 2 - coreOuterMm ** 2)) / (4 * thicknessMm) / 1000

/**
 * Outer diameter of a roll, mm: D = √(d² + 4 L (t + h) / π). `heightUm` is h: the largest along-web mean height of what was laid, at
 * any place across the web, µm; layers wind up over one another there (a ridge). Absent: the bare web.
 *
 * Examples: 1,000 m at 0.150 mm on 76 mm: 443.579 mm; with a ridge of 12 µm: 460.48 mm.
 */
export const rollDiameterMm = ({
  lengthM,
  coreOuterMm,
  thicknessMm,
  heightUm = 0,
}: Wound & { readonly lengthM: number; readonly heightUm?: number }): number =>
  Math.sqrt(coreOuterMm ** 2 + (4 * lengthM * 1000 * (thicknessMm + heightUm / 1000)) / Math.PI)
