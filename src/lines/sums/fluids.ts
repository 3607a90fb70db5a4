// Formulas of what is laid wet: varnish and adhesive.

/**
 * 1 µm over 1 mm² is a thousandth of a mm³, and a mL has a thousand mm³. Source: the units; STANDARDS "Label trade" says the same of a
 * whole square metre (1 µm over 1 m² is 1 cm³).
 */
export const mlPerUmMm2 = 1e-6

/**
 * Varnish of one laying of a layer, mL, as it is metered (wet): Σ height(gray) × pixel area × 1e-6 / (1 − shrinkage). Source: DESIGN §7.
 * - `fullMm2`: Σ over all pixels of the curve's share × pixel area, mm², 0 or more (the share is 1 at the stated height)
 * - `heightUm`: the layer's stated height, µm, above 0
 * - `shrinkage`: share of the wet volume that is lost in curing, 0 to under 1
 *
 * Example: a label of 1,000 mm² at half height of 60 µm, 20 % shrinkage: 500 × 60 × 1e-6 / 0.8 = 0.0375 mL.
 */
export const varnishMl = ({
  fullMm2,
  heightUm,
  shrinkage = 0,
}: {
  readonly fullMm2: number
  readonly heightUm: number
  readonly shrinkage?: number | undefined
}): number => (fullMm2 * heightUm * mlPerUmMm2) / (1 - shrinkage)

/**
 * Adhesive under one laying of a foil mask, mL: mask area × wet coat × 1e-6. Source: DESIGN §7. The coat is stated wet, so shrinkage has
 * no part in it.
 * - `maskMm2`: area of the mask, mm²
 * - `coatUm`: wet coat where the mask is full, µm
 *
 * Example: 400 mm² under a coat of 8 µm: 0.0032 mL.
 */
export const adhesiveMl = ({ maskMm2, coatUm }: { readonly maskMm2: number; readonly coatUm: number }): number =>
  maskMm2 * coatUm * mlPerUmMm2
