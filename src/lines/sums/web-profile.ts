// The along-web mean height at each place across the web: where it is greatest, a roll grows thickest.
import { type LayerSum, type ManifestCell, profileMm, toFrame } from '../../packages/index.ts'

export interface WebProfile {
  readonly leftMm: number
  readonly widthMm: number
  /** Mean µm over the whole run, place by place of `profileMm`, from the left of the frame as printed. */
  readonly meanUm: Float64Array
}

export interface Ridge {
  /** Largest along-web mean height, µm: h of the rewound diameter. */
  readonly meanUmMax: number
  /** Where it is, web x in mm of the frame as printed. */
  readonly atMm: number
  readonly meanUmMin: number
}

/** An empty profile of a web. */
export function openProfile({ leftMm, widthMm }: { leftMm: number; widthMm: number }): WebProfile {
  return { leftMm, widthMm, meanUm: new Float64Array(Math.max(1, Math.ceil(widthMm / profileMm - 1e-6))) }
}

function spread(profile: WebProfile, { fromMm, toMm, meanUm }: { fromMm: number; toMm: number; meanUm: number }): void {
  const end = Math.min(profile.widthMm, toMm - profile.leftMm)
  const start = Math.max(0, fromMm - profile.leftMm)
  for (let place = Math.floor(start / profileMm + 1e-9); place < profile.meanUm.length; place += 1) {
    const left = place * profileMm
    if (left >= end) return
    const right = Math.min(profile.widthMm, left + profileMm)
    const part = Math.max(0, Math.min(end, right) - Math.max(start, left)) / (right - left)
    profile.meanUm[place] = (profile.meanUm[place] as number) + meanUm * part
  }
}

/**
 * Adds one layer to the mean over the run. `weight` is how often it is laid per frame (at this cell), 0 to 1. What a place across has of
 * it counts with the layer's length along the web over the pitch. Layers of a cell turned by a quarter lie along the web with their width.
 */
export function addLayer(
  profile: WebProfile,
  laid: {
    readonly sum: LayerSum
    readonly leftMm: number
    readonly topMm: number
    readonly heightUm: number
    readonly weight: number
    readonly pitchMm: number
    /** Absent: placed on the frame. */
    readonly cell?: ManifestCell
  },
): void {
  const { sum, leftMm, topMm, cell } = laid
  const isQuarter = cell !== undefined && cell.rotateDeg % 180 === 90
  const shares = isQuarter ? sum.along : sum.across
  const [lengthMm, alongWebMm] = isQuarter ? [sum.heightMm, sum.widthMm] : [sum.widthMm, sum.heightMm]
  const factor = (laid.heightUm * laid.weight * alongWebMm) / laid.pitchMm
  for (const [place, share] of shares.entries()) {
    if (share === 0) continue
    const at = place * profileMm
    const stepMm = Math.min(profileMm, lengthMm - at)
    const rect = isQuarter
      ? { leftMm, topMm: topMm + at, widthMm: sum.widthMm, heightMm: stepMm }
      : { leftMm: leftMm + at, topMm, widthMm: stepMm, heightMm: sum.heightMm }
    const onWeb = cell ? toFrame(cell, rect) : rect
    spread(profile, { fromMm: onWeb.leftMm, toMm: onWeb.leftMm + onWeb.widthMm, meanUm: share * factor })
  }
}

/** Highest and lowest place of a profile. */
export function ridgeOf({ meanUm, leftMm }: WebProfile): Ridge {
  let top = 0
  let least = Number.POSITIVE_INFINITY
  let at = 0
  for (const [place, um] of meanUm.entries()) {
    least = Math.min(least, um)
    if (um <= top) continue
    top = um
    at = place
  }
  return { meanUmMax: top, atMm: leftMm + at * profileMm, meanUmMin: least }
}
