// Formulas of the speed ceiling: every limit that a line and a ticket set, which one binds, and by how much.
import type { LineProfile } from '../profile.ts'

/** m/s to m/min. */
const perMinute = 60

/** Distances in mm at times in ms are m/s. */
const mPerMinOf = ({ distanceMm, timeMs }: { distanceMm: number; timeMs: number }): number =>
  (Math.max(0, distanceMm) / timeMs) * perMinute

/**
 * Greatest speed at which a peak of `peakUm` lays and cures, m/min: the first row of the line's table that reaches it; 0 above the last.
 * Source: the line's own table (`speed.byHeight`), by *peak summed* height. Example: up to 60 µm 50 m/min, up to 120 µm 30: 80 µm → 30.
 */
export function heightLimit(table: NonNullable<NonNullable<LineProfile['speed']>['byHeight']>, peakUm: number): number {
  // What is summed from decimals may end a trillionth above the row that it is meant for.
  return table.find(({ heightUmMax }) => peakUm <= heightUmMax + 1e-9)?.mPerMinMax ?? 0
}

/**
 * The reader takes so many frames a second: v = pitch × frames/s. Source: DESIGN §7. Example: 60 mm × 20 /s = 1.2 m/s = 72 m/min.
 */
export const frameRateLimit = ({ pitchMm, perSecondMax }: { pitchMm: number; perSecondMax: number }): number =>
  (pitchMm / 1000) * perSecondMax * perMinute

/**
 * Travel during the exposure may be so large a share of a module: v = share × module / exposure. Source: DESIGN §7.
 * Example: 0.5 × 0.4 mm in 100 µs = 2 m/s = 120 m/min.
 */
export const blurLimit = (of: { modulesMax: number; moduleMm: number; exposureUs: number }): number =>
  mPerMinOf({ distanceMm: of.modulesMax * of.moduleMm, timeMs: of.exposureUs / 1000 })

/**
 * An answer must be there before the label's point of no return: v = distance / 99.9th percentile of the answering time. Source: DESIGN
 * §7; `distanceMm` is already less code offset, handling and lag. Example: 1,500 mm in 60 ms = 25 m/s = 1,500 m/min.
 */
export const answeringLimit = (of: { distanceMm: number; answerMs: number }): number =>
  mPerMinOf({ distanceMm: of.distanceMm, timeMs: of.answerMs })

/**
 * The web must stand within a distance: v·t + v²/2a ≤ s, so v = √(a²t² + 2as) − at. Source: DESIGN §7 (uniform deceleration). `timeMs`
 * is from the trigger until the brakes bite: answering and reaction.
 * Example: 1,500 mm, 200 ms, 2 m/s²: √(0.16 + 6) − 0.4 = 2.0819 m/s = 124.92 m/min.
 */
export function stoppingLimit(of: { distanceMm: number; timeMs: number; decelerationMPerS2: number }): number {
  const [s, t, a] = [Math.max(0, of.distanceMm) / 1000, of.timeMs / 1000, of.decelerationMPerS2]
  return (Math.sqrt((a * t) ** 2 + 2 * a * s) - a * t) * perMinute
}

export const speedLimits = ['line', 'height', 'nip', 'cure', 'frames', 'blur', 'answering', 'stopping'] as const

export interface SpeedLimit {
  readonly limit: (typeof speedLimits)[number]
  /** 0: no speed at all. */
  readonly mPerMin: number
  /** False: shown only; it does not hold the ceiling down (every station can skip, so no stop must come before a label). */
  readonly counts: boolean
  /** What it was worked out from, units last in each name. */
  readonly from: Readonly<Record<string, number>>
}

export interface SpeedCeiling {
  /** Slowest first. Those for which line or ticket state nothing are absent. */
  readonly limits: readonly SpeedLimit[]
  /** The least of those that count; absent where none is known. */
  readonly mPerMin?: number
  readonly binds?: SpeedLimit['limit']
  /** The next limit above the one that binds, and how many times as fast it is (absent at a standstill). */
  readonly next?: { readonly limit: SpeedLimit['limit']; readonly mPerMin: number; readonly times?: number }
}

/** The least of the limits, and how far the next one is above it. */
export function ceilingOf(limits: readonly SpeedLimit[]): SpeedCeiling {
  const sorted = limits.toSorted((a, b) => a.mPerMin - b.mPerMin)
  const [least, second] = sorted.filter(({ counts }) => counts)
  if (!least) return { limits: sorted }
  const ceiling = { limits: sorted, mPerMin: least.mPerMin, binds: least.limit }
  if (!second) return ceiling
  const times = least.mPerMin > 0 ? { times: second.mPerMin / least.mPerMin } : {}
  return { ...ceiling, next: { limit: second.limit, mPerMin: second.mPerMin, ...times } }
}

/** What a ticket brings to the limits of its line. */
export interface SpeedInquiry {
  readonly line: LineProfile
  /** Whether a foil nip is closed. */
  readonly usesFoil: boolean
  readonly peakUm: number
  readonly pitchMm: number
  readonly moduleMm?: number | undefined
  /** From the code's reading to the point of no return of the first station that can skip, mm. */
  readonly answerWayMm: number
  /** The same to the first station in use that can't skip; absent where every one can. */
  readonly stopWayMm?: number | undefined
}

type Draft = [SpeedLimit['limit'], number | undefined, Record<string, number>, boolean?]

function readingDrafts({ line, pitchMm, moduleMm, answerWayMm }: SpeedInquiry): Draft[] {
  const { framesPerSecondMax, exposureUs, blurModulesMax, answerMsP999 } = line.reading ?? {}
  const drafts: Draft[] = []
  if (framesPerSecondMax !== undefined) {
    const mPerMin = frameRateLimit({ pitchMm, perSecondMax: framesPerSecondMax })
    drafts.push(['frames', mPerMin, { pitchMm, framesPerSecondMax }])
  }
  if (exposureUs !== undefined && blurModulesMax !== undefined && moduleMm !== undefined) {
    const mPerMin = blurLimit({ modulesMax: blurModulesMax, moduleMm, exposureUs })
    drafts.push(['blur', mPerMin, { blurModulesMax, moduleMm, exposureUs }])
  }
  if (answerMsP999 !== undefined) {
    const mPerMin = answeringLimit({ distanceMm: answerWayMm, answerMs: answerMsP999 })
    drafts.push(['answering', mPerMin, { distanceMm: answerWayMm, answerMsP999 }])
  }
  return drafts
}

function stoppingDrafts({ line, answerWayMm, stopWayMm }: SpeedInquiry): Draft[] {
  if (!line.stopping) return []
  const { reactionMs, decelerationMPerS2 } = line.stopping
  const distanceMm = stopWayMm ?? answerWayMm
  const timeMs = reactionMs + (line.reading?.answerMsP999 ?? 0)
  const mPerMin = stoppingLimit({ distanceMm, timeMs, decelerationMPerS2 })
  return [['stopping', mPerMin, { distanceMm, timeMs, decelerationMPerS2 }, stopWayMm !== undefined]]
}

/** Every limit that line and ticket state. */
export function limitsOf(inquiry: SpeedInquiry): readonly SpeedLimit[] {
  const { line, usesFoil, peakUm } = inquiry
  const { speed } = line
  const heightUmMax = speed?.byHeight?.at(-1)?.heightUmMax ?? 0
  const nips = usesFoil ? line.stations.flatMap(({ nip }) => nip?.mPerMinMax ?? []) : []
  const drafts: Draft[] = [
    ['line', speed?.mPerMinMax, {}],
    ['height', speed?.byHeight && heightLimit(speed.byHeight, peakUm), { peakUm, heightUmMax }],
    ['nip', nips.length > 0 ? Math.min(...nips) : undefined, {}],
    ['cure', speed?.cureMPerMinMax, {}],
    ...readingDrafts(inquiry),
    ...stoppingDrafts(inquiry),
  ]
  return drafts.flatMap(([limit, mPerMin, from, counts = true]) =>
    mPerMin === undefined ? [] : [{ limit, mPerMin, counts, from }],
  )
}
