// The live view of a simulated roll: one screen on a terminal, redrawn five times a second at most, else a line every two seconds.
import type { DriveNow } from './drive.ts'
import type { Gauge } from './gauge.ts'
import type { Stats } from './stats.ts'

export interface View {
  show(now: DriveNow): void
  /** Clears the screen's lines. */
  done(): void
}

export interface ViewParts {
  readonly title: string
  readonly runId: string
  readonly seed: number
  readonly places: number
  readonly isTimed: boolean
  readonly stats: Stats
  /** State of the run. */
  readonly state: () => string
  /** Standard error, where it is a terminal. */
  readonly screen: { readonly columns?: number; write(text: string): unknown } | undefined
  /** Where lines go that are no screen; undefined: nowhere. */
  readonly line: ((text: string) => void) | undefined
  readonly nowMs: () => number
}

const redrawMs = 200
const lineMs = 2_000
const barWidth = 30

const fixed = (value: number, digits = 0): string => (Number.isFinite(value) ? value.toFixed(digits) : '–')
const spread = (gauge: Gauge): string => `p50 ${fixed(gauge.at(0.5), 1)}, p99 ${fixed(gauge.at(0.99), 1)} ms`
const margin = ({ marginMm, lateAnswers }: Stats, isTimed: boolean): string =>
  isTimed
    ? `least ${fixed(marginMm.min)}, p1 ${fixed(marginMm.at(0.01))} mm; ${lateAnswers} late`
    : 'not measured flat out'

function flagsText(flags: Readonly<Record<string, number>>): string {
  const rows = Object.entries(flags).toSorted((a, b) => b[1] - a[1])
  return rows.length === 0 ? 'none' : rows.map(([flag, count]) => `${count} ${flag}`).join(', ')
}

function bar(share: number): string {
  const filled = Math.round(Math.min(1, share) * barWidth)
  return `[${'='.repeat(filled)}${' '.repeat(barWidth - filled)}] ${String(Math.floor(share * 100)).padStart(3)} %`
}

/** The screen's lines. */
export function screenOf(parts: ViewParts, now: DriveNow): readonly string[] {
  const { stats, places, isTimed } = parts
  const { lay, skip, stop } = stats.decisions
  return [
    `${parts.title}  (run ${parts.runId}, seed ${parts.seed})`,
    `roll        ${bar(now.place / places)}  frame ${now.frame}, place ${now.place} of ${places}`,
    `web         ${fixed(now.mPerMin, 1)} m/min at ${fixed(now.positionMm)} mm, ${fixed(now.lineMs / 1_000, 1)} s of line time`,
    `run         ${parts.state()}; connection ${stats.connection}, ${stats.connections} so far`,
    `answers     ${lay} lay, ${skip} skip, ${stop} stop, ${stats.revocations} revoked`,
    `flags       ${flagsText(stats.flags)}`,
    `latency     ${spread(stats.latencyMs)}`,
    `margin      ${margin(stats, isTimed)}`,
    `laid        ${stats.laid.full} full, ${stats.laid.part} part, ${stats.laid.none} none, ${stats.laid.unknown} unknown`,
  ]
}

const lineOf = ({ stats, isTimed }: ViewParts, now: DriveNow): string => {
  const { lay, skip, stop } = stats.decisions
  const marginMm = isTimed ? `, margin ≥ ${fixed(stats.marginMm.min)} mm` : ''
  return `frame ${now.frame} at ${fixed(now.positionMm)} mm, ${fixed(now.mPerMin, 1)} m/min: ${lay} lay, ${skip} skip, ${stop} stop; ${spread(stats.latencyMs)}${marginMm}; ${stats.connection}`
}

export function openView(parts: ViewParts): View {
  let lastMs = parts.nowMs()
  let drawn = 0
  const erase = (): string => (drawn > 0 ? `\u001b[${drawn}A\u001b[J` : '')
  return {
    show(now) {
      const ms = parts.nowMs()
      if (ms - lastMs < (parts.screen ? redrawMs : lineMs)) return
      lastMs = ms
      if (!parts.screen) return parts.line?.(lineOf(parts, now))
      const width = (parts.screen.columns || 80) - 1
      const lines = screenOf(parts, now).map((line) => line.slice(0, width))
      parts.screen.write(`${erase()}${lines.join('\n')}\n`)
      drawn = lines.length
    },
    done() {
      if (drawn > 0) parts.screen?.write(erase())
      drawn = 0
    },
  }
}
