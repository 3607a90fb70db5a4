// From gray to height: the measured curve of a station, straight between its points.

/** Rising grays from 0 (nothing) to 1 (full scale), each with the cured height there as a share of the layer's stated height. */
export type GrayCurve = readonly { readonly gray: number; readonly height: number }[]

/** Height as a share of the stated height at a gray of 0 to 1. Without a curve height is gray (the nominal line). */
export function heightShare(curve: GrayCurve | undefined, gray: number): number {
  if (!curve) return gray
  const above = curve.findIndex((point) => point.gray >= gray)
  const high = curve[above]
  const low = curve[above - 1]
  if (!high) return curve.at(-1)?.height ?? gray
  if (!low) return high.height
  // At a measured point exactly its height.
  return low.height + (high.height - low.height) * ((gray - low.gray) / (high.gray - low.gray))
}

/** `heightShare` of every gray value from 0 to `grayMax`. */
export function shareTable(curve: GrayCurve | undefined, grayMax: number): Float64Array {
  return Float64Array.from({ length: grayMax + 1 }, (_, value) => heightShare(curve, value / grayMax))
}
