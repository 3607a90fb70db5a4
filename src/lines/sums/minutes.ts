// Formulas of time at the line.

/**
 * Minutes of travel: L / v, and what ramps add. `starts` is how often the web starts from standstill and stops again, 1 or more, over
 * equal lengths. A ramp up and down takes v / a longer than the same way at full speed; where the way is too short to reach v, it takes
 * 2 √(way / a). Source: DESIGN §7 (minutes), the ramps by uniform acceleration.
 * - `lengthM` m, `mPerMin` m/min above 0, `accelerationMPerS2` m/s², absent: ramps take no time
 *
 * Example: 1,200 m at 60 m/min (1 m/s), 0.2 m/s², one start: 20 min + 5 s = 20.083 min.
 */
export function travelMinutes({
  lengthM,
  mPerMin,
  accelerationMPerS2,
  starts,
}: {
  readonly lengthM: number
  readonly mPerMin: number
  readonly accelerationMPerS2?: number | undefined
  readonly starts: number
}): number {
  const mPerS = mPerMin / 60
  if (accelerationMPerS2 === undefined) return lengthM / mPerMin
  const wayM = lengthM / starts
  const isFullReached = wayM >= mPerS ** 2 / accelerationMPerS2
  const seconds = isFullReached ? wayM / mPerS + mPerS / accelerationMPerS2 : 2 * Math.sqrt(wayM / accelerationMPerS2)
  return (starts * seconds) / 60
}
