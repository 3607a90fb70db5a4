// What the sums of a ticket come to. Plain data, JSON as it stands; an absent value is an absent key.
import type { StationKind } from '../../kernel/terms.ts'
import type { SpeedCeiling } from './speed.ts'

/** How long the roll is, and who says so. */
export interface Extent {
  readonly frames: number
  readonly from: 'what-if' | 'sequence' | 'ticket' | 'material' | 'diameter'
  readonly pitchMm: number
  readonly cellsPerFrame: number
  /** Labels of the run proper, blank cells counted too. */
  readonly labels: number
  /** frames × pitch, m. */
  readonly runM: number
  readonly setUpM: number
  /** Both. */
  readonly webM: number
}

/** mL that one label takes at a station; what is laid once a frame counts with the label's part of it. */
export interface LabelFluid {
  readonly station: StationKind
  readonly fluid: 'varnish' | 'adhesive'
  readonly ml: number
}

export interface DesignSums {
  readonly job: string
  readonly design: string
  readonly version: number
  /** On the roll; may be broken where labels are taken to be spread evenly. Absent without an extent. */
  readonly labels?: number
  /** Summed height at the highest place, µm; adhesive included, foil itself not. */
  readonly peakUm: number
  readonly perLabel: readonly LabelFluid[]
  /** Area of foil masks of one label, mm². */
  readonly foilMm2: number
}

/** mL of a roll at a station. */
export interface StationSums {
  readonly station: StationKind
  readonly fluid: 'varnish' | 'adhesive'
  readonly laidMl: number
  readonly setUpMl: number
  readonly purgeMl: number
  readonly ml: number
}

/** One place on a foil shaft with the reel that the ticket names. */
export interface ReelSums {
  readonly station: StationKind
  readonly foil: string
  readonly shaft?: string
  readonly leftMm: number
  readonly widthMm: number
  /** Foil used up, threading included, m. */
  readonly usedM: number
  readonly usedM2: number
  /** Area of masks of this foil, m², on all reels of it together. The rest winds up as waste. */
  readonly laidM2: number
  /** What a single reel would have to hold: web with the nip closed and one threading, m. */
  readonly neededM: number
  /** Foil on one reel, as the ticket says. */
  readonly reelM?: number
  /** Reels of that length, one after the other; absent where the length is not known or no number is enough. */
  readonly reels?: number
  readonly suffices?: boolean
}

export interface RollSums {
  readonly thicknessMm: number
  /** Outer diameter of the roll as it came: as stated, else from its length; mm. */
  readonly unwindMm?: number
  readonly unwindFrom?: 'ticket' | 'length'
  readonly unwindMmMax?: number
  readonly rewindCoreMm?: number
  /** Rewound with what was laid, mm. */
  readonly rewoundMm?: number
  readonly rewoundMmMax?: number
}

export interface RidgeSums {
  readonly meanUmMax: number
  readonly atMm: number
  /** Against the lowest place across. */
  readonly differenceUm: number
  readonly differenceUmMax?: number
}

export interface MinuteSums {
  /** Speed that they are worked out at. */
  readonly mPerMin: number
  readonly setUp: number
  readonly travel: number
  readonly reelChanges: number
  readonly rollChange: number
  readonly total: number
}

/** A layer whose bytes can't be read: what it lays is missing in the sums. */
export interface UnreadLayer {
  readonly job: string
  readonly design: string
  readonly version: number
  readonly layer: string
  readonly code: string
  readonly message: string
}

export interface TicketSums {
  readonly ticket: string
  readonly line: string
  /** Present where no sequence says what is on the roll: its cells are shared evenly by the wanted versions that fit them. */
  readonly assumed?: 'even'
  readonly extent?: Extent
  readonly designs: readonly DesignSums[]
  /** Empty without an extent. */
  readonly stations: readonly StationSums[]
  readonly reels: readonly ReelSums[]
  readonly peak: { readonly um: number; readonly job?: string; readonly design?: string; readonly version?: number }
  readonly ridge: RidgeSums
  readonly speed: SpeedCeiling
  /** Speed that was asked for. */
  readonly wishMPerMin?: number
  readonly roll?: RollSums
  readonly minutes?: MinuteSums
  readonly unread: readonly UnreadLayer[]
}
