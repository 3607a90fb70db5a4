// What is counted while a simulated roll runs, and shown.
import type { ConnectionStatus } from '../../client/index.ts'
import type { Answer } from '../../protocol/index.ts'
import { type Gauge, openGauge } from './gauge.ts'

export interface Stats {
  readonly decisions: Record<Answer['decision'], number>
  readonly flags: Record<string, number>
  /** Refused messages by problem code. */
  readonly refusals: Record<string, number>
  readonly laid: Record<'full' | 'part' | 'none' | 'unknown', number>
  /** Flags of stops that were looked at, in order. */
  readonly stops: string[]
  framesSent: number
  /** From sending a frame to the last of its answers, ms by the wall. */
  readonly latencyMs: Gauge
  /** Web travel left to the point of no return when an answer came, mm; negative: it came late. */
  readonly marginMm: Gauge
  lateAnswers: number
  doubledAnswers: number
  revocations: number
  connections: number
  connection: ConnectionStatus['state']
}

export const openStats = (): Stats => ({
  decisions: { lay: 0, skip: 0, stop: 0 },
  flags: {},
  refusals: {},
  laid: { full: 0, part: 0, none: 0, unknown: 0 },
  stops: [],
  framesSent: 0,
  latencyMs: openGauge({ from: 0, width: 0.1, count: 20_000 }),
  marginMm: openGauge({ from: -2_000, width: 1, count: 22_000 }),
  lateAnswers: 0,
  doubledAnswers: 0,
  revocations: 0,
  connections: 0,
  connection: 'connecting',
})

export const countIn = (counts: Record<string, number>, name: string): void => {
  counts[name] = (counts[name] ?? 0) + 1
}
