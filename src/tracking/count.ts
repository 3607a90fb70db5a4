// The counting tracker: places by measured position alone. It tells a backed-up web from new material and notices a mark count
// that slipped; it infers nothing. Cost: O(1) per frame on new material, O(log n) where the web was backed up; 8 bytes a place.
import { assert } from '../kernel/assert.ts'
import { type PlaceIndex, placeIndex } from '../kernel/terms.ts'
import type { TrackEvent, Tracked, Tracker } from './port.ts'

/** Share of a pitch by which a mark may lie off its place before the count counts as slipped (common practice, no source). */
export const phaseToleranceShare = 0.25

class Positions {
  private values = new Float64Array(1024)
  length = 0

  at(index: number): number {
    const value = this.values[index]
    assert(value !== undefined && index < this.length, 'a known place has a position')
    return value
  }

  push(positionUm: number): void {
    if (this.length === this.values.length) {
      const grown = new Float64Array(this.length * 2)
      grown.set(this.values)
      this.values = grown
    }
    this.values[this.length++] = positionUm
  }

  /** The place from `first` on whose position is nearest; positions rise with the place there. */
  nearest(positionUm: number, first: number): number {
    let low = first
    let high = this.length - 1
    while (low < high) {
      const middle = (low + high) >> 1
      if (this.at(middle) < positionUm) low = middle + 1
      else high = middle
    }
    if (low > first && positionUm - this.at(low - 1) < this.at(low) - positionUm) return low - 1
    return low
  }
}

// Marks that were missed make the spacing longer by whole pitches, and the web travelled as far; a speck, or a mark taken for another, does
// not. Backwards, and at the very mark of the last frame, the spacing says nothing.
function isOddSpacing(
  spacingUm: number | undefined,
  { travelUm, pitchUm }: { readonly travelUm: number; readonly pitchUm: number },
): boolean {
  const toleranceUm = pitchUm * phaseToleranceShare
  if (spacingUm === undefined || travelUm <= toleranceUm) return false
  if (Math.abs(spacingUm - pitchUm) <= toleranceUm) return false
  const pitches = Math.max(1, Math.round(spacingUm / pitchUm))
  const isWhole = Math.abs(spacingUm - pitches * pitchUm) <= toleranceUm
  return !isWhole || Math.abs(spacingUm - travelUm) > toleranceUm
}

/** Opens a tracker for frames `pitchUm` apart (µm, over 0). */
export function openCountingTracker(pitchUm: number): Tracker {
  assert(pitchUm > 0, 'a pitch is positive')
  const positions = new Positions()
  const toleranceUm = pitchUm * phaseToleranceShare
  let phaseBrokenAtUm: number | undefined
  /** Of the last frame, on new material or seen; undefined before the first of this threading. */
  let lastFrameUm: number | undefined
  // First place since the last re-threading; encoder positions before it are of another origin.
  let segmentStart = 0

  const onNewMaterial = (positionUm: number): Tracked => {
    const lastUm = positions.at(positions.length - 1)
    const steps = stepsTo(positionUm, lastUm)
    const broken = phaseBrokenAtUm !== undefined && phaseBrokenAtUm <= positionUm
    const offUm = Math.abs(positionUm - lastUm - steps * pitchUm)
    const place = placeIndex(positions.length - 1 + steps)
    return { place, seenBefore: false, offPhase: !broken && offUm > toleranceUm }
  }
  const stepsTo = (positionUm: number, lastUm: number): number =>
    Math.max(1, Math.round((positionUm - lastUm) / pitchUm))

  const onSeenMaterial = (positionUm: number): Tracked => {
    const place = positions.nearest(positionUm, segmentStart)
    const offUm = Math.abs(positionUm - positions.at(place))
    return { place: placeIndex(place), seenBefore: true, offPhase: offUm > toleranceUm }
  }

  const locate = (positionUm: number): Tracked => {
    const first = positions.length === segmentStart
    if (first) return { place: placeIndex(segmentStart), seenBefore: false, offPhase: false }
    const lastUm = positions.at(positions.length - 1)
    return positionUm - lastUm < pitchUm / 2 ? onSeenMaterial(positionUm) : onNewMaterial(positionUm)
  }

  return {
    locate,
    advance(event: TrackEvent): Tracked {
      const { positionUm } = event
      const located = locate(positionUm)
      const travelUm = lastFrameUm === undefined ? 0 : positionUm - lastFrameUm
      const broken = phaseBrokenAtUm !== undefined && phaseBrokenAtUm <= positionUm
      const odd = !broken && isOddSpacing(event.markSpacingUm, { travelUm, pitchUm })
      const tracked = odd ? { ...located, offPhase: true } : located
      lastFrameUm = positionUm
      if (tracked.seenBefore) return tracked
      if (positions.length === segmentStart) positions.push(positionUm)
      else {
        const lastUm = positions.at(positions.length - 1)
        const steps = stepsTo(positionUm, lastUm)
        for (let step = 1; step <= steps; step++) positions.push(lastUm + ((positionUm - lastUm) * step) / steps)
      }
      if (phaseBrokenAtUm !== undefined && phaseBrokenAtUm <= positionUm) phaseBrokenAtUm = undefined
      return tracked
    },
    breakPhase(positionUm: number): void {
      phaseBrokenAtUm = positionUm
    },
    restart(): void {
      segmentStart = positions.length
      phaseBrokenAtUm = undefined
      lastFrameUm = undefined
    },
    positionUm(place: PlaceIndex): number | undefined {
      return place < positions.length ? positions.at(place) : undefined
    },
  }
}
