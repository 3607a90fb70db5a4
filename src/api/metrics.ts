// Counters for Prometheus at /metrics.
import { Counter, collectDefaultMetrics, Gauge, Histogram, Registry } from 'prom-client'
import type { WorkQueue } from '../queue/port.ts'

export interface Metrics {
  readonly registry: Registry
  /** A frames request was answered after so many ms. */
  answered(ms: number): void
  /** A label was answered. */
  label(decision: string, flags: readonly string[]): void
  frame(): void
  revoked(): void
  commit(at: { readonly entries: number; readonly ms: number }): void
  capture(at: { readonly ms: number }): void
}

export function openMetrics(queue: WorkQueue): Metrics {
  const registry = new Registry()
  const registers = [registry]
  collectDefaultMetrics({ register: registry, prefix: 'rollcall_' })
  const frames = new Counter({ name: 'rollcall_frames_total', help: 'Frame events recorded', registers })
  const labels = new Counter({
    name: 'rollcall_labels_total',
    help: 'Labels answered, by decision',
    labelNames: ['decision'],
    registers,
  })
  const flags = new Counter({ name: 'rollcall_flags_total', help: 'Flags raised', labelNames: ['flag'], registers })
  const revocations = new Counter({ name: 'rollcall_revocations_total', help: 'Answers revoked', registers })
  const answering = new Histogram({
    name: 'rollcall_answer_seconds',
    help: 'From a frames request to its durable answers',
    buckets: [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1],
    registers,
  })
  const commitEntries = new Histogram({
    name: 'rollcall_commit_entries',
    help: 'Entries made durable by one commit',
    buckets: [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000],
    registers,
  })
  const commitSeconds = new Histogram({
    name: 'rollcall_commit_seconds',
    help: 'Time of one commit, sync included',
    buckets: [0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5],
    registers,
  })
  const reading = new Histogram({
    name: 'rollcall_capture_seconds',
    help: 'Reading of one picture in its worker',
    buckets: [0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1],
    registers,
  })
  new Gauge({
    name: 'rollcall_work',
    help: 'Queued work by state',
    labelNames: ['state'],
    registers,
    async collect() {
      for (const [state, count] of Object.entries(await queue.counts())) this.set({ state }, count)
    },
  })
  return {
    registry,
    answered: (ms) => answering.observe(ms / 1000),
    label(decision, raised) {
      labels.inc({ decision })
      for (const flag of raised) flags.inc({ flag })
    },
    frame: () => frames.inc(),
    revoked: () => revocations.inc(),
    commit({ entries, ms }) {
      commitEntries.observe(entries)
      commitSeconds.observe(ms / 1000)
    },
    capture: ({ ms }) => reading.observe(ms / 1000),
  }
}
