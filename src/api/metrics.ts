// Counters for Prometheus at /metrics.
import { Counter, collectDefaultMetrics, Gauge, Histogram, Registry } from 'prom-client'
import type { Entry } from '../ledger/index.ts'
import type { WorkQueue } from '../queue/port.ts'
import { type AnswerMetrics, openAnswerMetrics } from './answer-metrics.ts'
import { openReaderMetrics, type ReadersView } from './readers-view.ts'

export interface Metrics extends AnswerMetrics {
  readonly registry: Registry
  /** A frames request was answered after so many ms. */
  answered(ms: number): void
  commit(at: { readonly entries: number; readonly ms: number }): void
  capture(at: { readonly ms: number }): void
  /** Controllers connected, one more or one less. */
  lineConnected(change: 1 | -1): void
  lineMessage(direction: 'in' | 'out', type: string): void
  /** A frames message of a socket was answered after so many ms. */
  lineAnswered(ms: number): void
}

/** `readers`: absent where none are configured. */
export function openMetrics(queue: WorkQueue, readers?: () => ReadersView): Metrics {
  const registry = new Registry()
  const registers = [registry]
  collectDefaultMetrics({ register: registry, prefix: 'rollcall_' })
  const count = openLedgerCounters(registers)
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
  const line = openLineMetrics(registers)
  const answers = openAnswerMetrics(registers)
  openReaderMetrics(registers, readers ?? (() => ({ readers: [], pictureStreams: [] })))
  openWorkMetrics(registers, queue)
  return {
    registry,
    answered: (ms) => answering.observe(ms / 1000),
    ...answers,
    written(run, entries) {
      entries.forEach(count)
      answers.written(run, entries)
    },
    commit({ entries, ms }) {
      commitEntries.observe(entries)
      commitSeconds.observe(ms / 1000)
    },
    capture: ({ ms }) => reading.observe(ms / 1000),
    ...line,
  }
}

function openWorkMetrics(registers: Registry[], queue: WorkQueue): void {
  new Gauge({
    name: 'rollcall_work',
    help: 'Queued work by state',
    labelNames: ['state'],
    registers,
    async collect() {
      for (const [state, count] of Object.entries(await queue.counts())) this.set({ state }, count)
    },
  })
}

// Counts durable entries by what they say.
function openLedgerCounters(registers: Registry[]): (entry: Entry) => void {
  const frames = new Counter({ name: 'rollcall_frames_total', help: 'Frame events recorded', registers })
  const labels = new Counter({
    name: 'rollcall_labels_total',
    help: 'Labels answered, by decision',
    labelNames: ['decision'],
    registers,
  })
  const flags = new Counter({ name: 'rollcall_flags_total', help: 'Flags raised', labelNames: ['flag'], registers })
  const revocations = new Counter({ name: 'rollcall_revocations_total', help: 'Answers revoked', registers })
  return (entry) => {
    if (entry.type === 'frame') frames.inc()
    else if (entry.type === 'revocation') revocations.inc()
    else if (entry.type === 'answer') {
      labels.inc({ decision: entry.body.decision })
      for (const flag of entry.body.flags) flags.inc({ flag })
    }
  }
}

function openLineMetrics(registers: Registry[]): Pick<Metrics, 'lineConnected' | 'lineMessage' | 'lineAnswered'> {
  const connections = new Gauge({
    name: 'rollcall_line_connections',
    help: 'Controllers connected by socket',
    registers,
  })
  const messages = new Counter({
    name: 'rollcall_line_messages_total',
    help: 'Messages over sockets, by direction and type',
    labelNames: ['direction', 'type'],
    registers,
  })
  const answering = new Histogram({
    name: 'rollcall_line_answer_seconds',
    help: 'From a frames message on a socket to its durable answers',
    buckets: [0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1],
    registers,
  })
  return {
    lineConnected: (change) => connections.inc(change),
    lineMessage: (direction, type) => messages.inc({ direction, type }),
    lineAnswered: (ms) => answering.observe(ms / 1000),
  }
}
