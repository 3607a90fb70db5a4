// What events of the material are held against: the stretches of web that were run, and the events that stand.
import type { EntryBodies } from '../ledger/index.ts'

export type MaterialBody = EntryBodies['material']

/** A stretch of web that was run under one encoder origin: from one threading to the next. Positions may repeat between stretches. */
export interface WebStretch {
  fromUm: number
  /** One pitch behind the furthest mark. */
  toUm: number
}

/** A place along the web: encoder position within a stretch. */
export interface Spot {
  readonly stretch: number
  readonly positionUm: number
}

/** Stretches as frames come in. */
export interface StretchesSoFar {
  readonly pitchUm: number
  readonly stretches: WebStretch[]
  /** A re-threading was recorded, and no frame since. */
  stretchEnded: boolean
}

/** An event that was not voided. */
export interface StandingEvent {
  readonly index: number
  readonly body: MaterialBody
  /** Stretch in which its position lies. */
  readonly stretch: number
}

/** What events are held against; a run's state is one. */
export interface MaterialRecord {
  readonly name: EntryBodies['step']['to']
  readonly ticket: { readonly roll: string }
  /** All that it ran on, with where their first new web began; absent while there is none. */
  readonly tickets: readonly { readonly begins?: Spot }[]
  readonly cells: readonly { readonly lane: number }[]
  readonly pitchUm: number
  readonly stretches: readonly WebStretch[]
  readonly material: readonly StandingEvent[]
}
