// How a picture lies against the place where the camera was said to look: one shift and one small turn for all codes in it.
import type { PointPx } from './found-code.ts'

/** Rotates about `pivot`, then shifts. */
export interface Alignment {
  readonly pivot: PointPx
  readonly shift: PointPx
  /** Clockwise as seen in the picture. */
  readonly turnRad: number
}

export interface AlignmentLimits {
  /** Greatest shift across and along, in the points' unit. */
  readonly shiftMax: number
  readonly turnRadMax: number
}

export interface Pair {
  readonly expected: PointPx
  readonly found: PointPx
}

export const noAlignment: Alignment = { pivot: { x: 0, y: 0 }, shift: { x: 0, y: 0 }, turnRad: 0 }

export function align({ pivot, shift, turnRad }: Alignment, point: PointPx): PointPx {
  const x = point.x - pivot.x
  const y = point.y - pivot.y
  const cos = Math.cos(turnRad)
  const sin = Math.sin(turnRad)
  return { x: pivot.x + shift.x + x * cos - y * sin, y: pivot.y + shift.y + x * sin + y * cos }
}

/**
 * The alignment that fits the pairs, within the limits. Medians rather than means, so that single wrong pairs (a stray code, a
 * smudged corner) don't pull it: the turn is the median over all pairs of pairs (Theil and Sen), the shift that of what is left.
 */
export function fitAlignment(pairs: readonly Pair[], limits: AlignmentLimits): Alignment {
  if (pairs.length === 0) return noAlignment
  const pivot = {
    x: median(pairs.map(({ expected }) => expected.x)),
    y: median(pairs.map(({ expected }) => expected.y)),
  }
  const turnRad = clamp(medianTurn(pairs, limits.turnRadMax), limits.turnRadMax)
  const turned = { pivot, shift: { x: 0, y: 0 }, turnRad }
  const rests = pairs.map(({ expected, found }) => {
    const at = align(turned, expected)
    return { x: found.x - at.x, y: found.y - at.y }
  })
  const shift = {
    x: clamp(median(rests.map(({ x }) => x)), limits.shiftMax),
    y: clamp(median(rests.map(({ y }) => y)), limits.shiftMax),
  }
  return { pivot, shift, turnRad }
}

/**
 * Pairs of pairs that alone would mean a turn beyond three times the limit are wrong pairs and have no vote; the others vote with
 * their distance, since a corner that is off by a pixel turns a short line more than a long one.
 */
function medianTurn(pairs: readonly Pair[], turnRadMax: number): number {
  // 64 pairs make 2,016 pairs of pairs; more of them would only cost time.
  const some = pairs.slice(0, 64)
  const turns = some.flatMap((first, index) => some.slice(index + 1).map((second) => turnOf(first, second)))
  return weightedMedian(turns.filter(({ value }) => Math.abs(value) <= 3 * turnRadMax))
}

function turnOf(first: Pair, second: Pair): Weighted {
  const wanted = { x: second.expected.x - first.expected.x, y: second.expected.y - first.expected.y }
  const seen = { x: second.found.x - first.found.x, y: second.found.y - first.found.y }
  const turn = Math.atan2(seen.y, seen.x) - Math.atan2(wanted.y, wanted.x)
  return { value: Math.atan2(Math.sin(turn), Math.cos(turn)), weight: Math.hypot(wanted.x, wanted.y) }
}

interface Weighted {
  readonly value: number
  readonly weight: number
}

const median = (values: readonly number[]): number => weightedMedian(values.map((value) => ({ value, weight: 1 })))

/** Of nothing, 0; where half the weight lies on either side, the mean of the two next to the middle. */
function weightedMedian(values: readonly Weighted[]): number {
  const sorted = values.toSorted((a, b) => a.value - b.value)
  const half = sorted.reduce((sum, { weight }) => sum + weight, 0) / 2
  let below = 0
  for (const [index, { value, weight }] of sorted.entries()) {
    below += weight
    if (below === half) return (value + (sorted[index + 1]?.value ?? value)) / 2
    if (below > half) return value
  }
  return 0
}

const clamp = (value: number, max: number): number => Math.min(max, Math.max(-max, value))
