// The tracker: from frame events (positions, and later reads) to places on the material. This order's tracker counts; later ones
// infer. It is a pure fold: the same events in the same order give the same state.
import type { FrameIndex, PlaceIndex } from '../kernel/terms.ts'

export interface TrackEvent {
  readonly frame: FrameIndex
  /** Encoder position of the eye mark, µm. */
  readonly positionUm: number
  /** What the controller measured from the mark before to this one, µm; absent where it says nothing. */
  readonly markSpacingUm?: number | undefined
}

export interface Tracked {
  readonly place: PlaceIndex
  /** The place was seen before, under another frame number: the web was backed up. */
  readonly seenBefore: boolean
  /**
   * The position lies off the marks' phase by more than the tolerance, or the spacing to the mark before is neither one pitch nor what
   * the web travelled: the mark count may have slipped, or this is no mark.
   */
  readonly offPhase: boolean
}

export interface Tracker {
  /** Where a mark at this position would stand, without taking it. */
  locate(positionUm: number): Tracked
  /** Takes the next frame's position. */
  advance(event: TrackEvent): Tracked
  /** A splice at this position: the phase may change here without a slip. */
  breakPhase(positionUm: number): void
  /** A re-threading: the next frame is new material, whatever the encoder says; earlier places can't be seen again. */
  restart(): void
  /** Measured position of a place when it was last seen, µm. */
  positionUm(place: PlaceIndex): number | undefined
}
