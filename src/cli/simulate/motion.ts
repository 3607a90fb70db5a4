// The web's travel: stretches of constant acceleration one after the other, from ramps, stops and back-ups. Time is that of the line
// (ms from its start), positions are the encoder's (mm).
import { assert } from '../../kernel/assert.ts'

interface Leg {
  readonly startMs: number
  readonly endMs: number
  readonly positionMm: number
  /** mm/ms; negative while the web is backed up. */
  readonly speed: number
  /** mm/ms². */
  readonly acceleration: number
}

export interface Ramps {
  readonly accelerationMPerS2: number
  readonly decelerationMPerS2: number
}

export interface Motion {
  at(ms: number): { readonly positionMm: number; readonly mPerMin: number }
  /** When the web, running forwards, comes to this position (now, where it is past it); undefined where it stands before. */
  timeOf(positionMm: number, fromMs: number): number | undefined
  /** Ramps to a speed. */
  run(ms: number, mPerMin: number): void
  /** Goes on as it does for the reaction, then brakes: v·t + v²/2a. */
  brake(ms: number, reactionMs: number): void
  /** Backs a standing web up; it stands again behind that. */
  backUp(ms: number, mm: number): void
  /** When the web stands for good under what was asked of it; undefined while it runs. */
  standsMs(): number | undefined
}

/** m/min in mm/ms. */
const perMs = (mPerMin: number): number => mPerMin / 60
/** m/s² in mm/ms². */
const perMs2 = (mPerS2: number): number => mPerS2 / 1_000

/** Speed of a web that is backed up, m/min: walking pace (common practice, no source). */
const backUpMPerMin = 12

const positionIn = (leg: Leg, ms: number): number => {
  const t = ms - leg.startMs
  return leg.positionMm + leg.speed * t + (leg.acceleration * t * t) / 2
}
const speedIn = (leg: Leg, ms: number): number => leg.speed + leg.acceleration * (ms - leg.startMs)

// Time into a leg at which a position ahead is reached; NaN where the web turns or stands before.
function timeInto({ speed, acceleration }: Leg, aheadMm: number): number {
  if (acceleration === 0) return speed > 0 ? aheadMm / speed : Number.NaN
  return (-speed + Math.sqrt(speed * speed + 2 * acceleration * aheadMm)) / acceleration
}

interface Moment {
  readonly ms: number
  readonly positionMm: number
  readonly speed: number
}

/** Acceleration and how long it lasts, ms. */
type Part = readonly [acceleration: number, lengthMs: number]

class Travel implements Motion {
  private legs: Leg[]
  private readonly gain: number
  private readonly loss: number

  constructor(positionMm: number, { accelerationMPerS2, decelerationMPerS2 }: Ramps) {
    this.gain = perMs2(accelerationMPerS2)
    this.loss = perMs2(decelerationMPerS2)
    this.legs = [{ startMs: 0, endMs: Number.POSITIVE_INFINITY, positionMm, speed: 0, acceleration: 0 }]
  }

  private get last(): Leg {
    const leg = this.legs.at(-1)
    assert(leg, 'the web stands or runs')
    return leg
  }

  private legAt(ms: number): Leg {
    return this.legs.findLast((leg) => leg.startMs <= ms) ?? this.legs[0] ?? this.last
  }

  private now(ms: number): Moment {
    const leg = this.legAt(ms)
    return { ms, positionMm: positionIn(leg, ms), speed: speedIn(leg, ms) }
  }

  // Legs one behind the other, each from where and how fast the one before ended; then the web holds its last speed.
  private follow(from: Moment, parts: readonly Part[], thenSpeed: number): void {
    this.legs = []
    let { ms, positionMm, speed } = from
    for (const [acceleration, lengthMs] of parts) {
      const leg = { startMs: ms, endMs: ms + lengthMs, positionMm, speed, acceleration }
      this.legs.push(leg)
      ms = leg.endMs
      positionMm = positionIn(leg, ms)
      speed = speedIn(leg, ms)
    }
    this.legs.push({ startMs: ms, endMs: Number.POSITIVE_INFINITY, positionMm, speed: thenSpeed, acceleration: 0 })
  }

  at(ms: number): { readonly positionMm: number; readonly mPerMin: number } {
    const { positionMm, speed } = this.now(ms)
    return { positionMm, mPerMin: speed * 60 }
  }

  timeOf(target: number, fromMs: number): number | undefined {
    if (this.now(fromMs).positionMm >= target) return fromMs
    for (const leg of this.legs) {
      if (leg.endMs <= fromMs) continue
      const into = timeInto(leg, target - leg.positionMm)
      // Rounding may put the end of a ramp a hair beyond its leg.
      if (into >= 0 && leg.startMs + into <= leg.endMs + 1e-6) return Math.max(fromMs, leg.startMs + into)
    }
    return undefined
  }

  run(ms: number, mPerMin: number): void {
    const from = this.now(ms)
    const speed = perMs(mPerMin)
    const rate = speed > from.speed ? this.gain : -this.loss
    this.follow(from, [[rate, (speed - from.speed) / rate]], speed)
  }

  brake(ms: number, reactionMs: number): void {
    const from = this.now(ms)
    // A ramp that is under way goes on during the reaction.
    const { acceleration, endMs } = this.legAt(ms)
    const rampMs = Math.min(reactionMs, endMs - ms)
    const speed = from.speed + acceleration * rampMs
    const parts: Part[] = [
      [acceleration, rampMs],
      [0, reactionMs - rampMs],
      [-this.loss, speed / this.loss],
    ]
    this.follow(from, parts, 0)
  }

  backUp(ms: number, mm: number): void {
    const { gain, loss } = this
    const peak = Math.min(perMs(backUpMPerMin), Math.sqrt((2 * mm * gain * loss) / (gain + loss)))
    const rampsMm = (peak * peak) / (2 * gain) + (peak * peak) / (2 * loss)
    const parts: Part[] = [
      [-gain, peak / gain],
      [0, peak === 0 ? 0 : (mm - rampsMm) / peak],
      [loss, peak / loss],
    ]
    this.follow({ ...this.now(ms), speed: 0 }, parts, 0)
  }

  standsMs(): number | undefined {
    return this.last.speed === 0 ? this.last.startMs : undefined
  }
}

/** Opens a standing web at a position. */
export const openMotion = (positionMm: number, ramps: Ramps): Motion => new Travel(positionMm, ramps)
