// Metrics of answers: how far before the point of no return they were durable, what was read, what waits, what stopped. Labels are
// bounded: lines beyond the first 64 are one.
import { Counter, Gauge, Histogram, type Registry } from 'prom-client'
import { flags } from '../kernel/terms.ts'
import type { Entry } from '../ledger/index.ts'
import type { Run } from '../runs/index.ts'

const linesMax = 64
const marginBucketsMm = [-500, -100, 0, 25, 50, 100, 150, 200, 300, 400, 600, 1_000, 2_000]

/** The name for as many different ones as may be, then `other`. `begin` is called once for each. */
function boundedNames(max: number, begin: (name: string) => void): (name: string) => string {
  const known = new Set<string>()
  return (given) => {
    const name = known.has(given) || known.size < max ? given : 'other'
    if (!known.has(name)) {
      known.add(name)
      begin(name)
    }
    return name
  }
}

type AnswerBody = Extract<Entry, { type: 'answer' }>['body']

/** What came of reading one label. */
function outcomeOf({ flags: raised, identity }: AnswerBody): string {
  for (const flag of ['no-read', 'late', 'unknown-code', 'other-job'] as const) if (raised.includes(flag)) return flag
  if (!identity) return 'contradicting'
  return raised.includes('low-quality') ? 'low-quality' : 'read'
}

/** Tells of durable entries, as they come. */
export interface AnswerMetrics {
  written(run: Pick<Run, 'runId' | 'positionUm' | 'state'>, entries: readonly Entry[]): void
  stopped(at: { readonly line: string; readonly flag: string }): void
}

function openMeters(registers: Registry[]) {
  return {
    margin: new Histogram({
      name: 'rollcall_deadline_margin_mm',
      help: 'Web travel left before the point of no return when an answer was durable, mm; below 0: too late',
      labelNames: ['line'],
      buckets: marginBucketsMm,
      registers,
    }),
    late: new Counter({
      name: 'rollcall_late_answers_total',
      help: 'Answers that were durable behind their point of no return',
      labelNames: ['line'],
      registers,
    }),
    reads: new Counter({
      name: 'rollcall_reads_total',
      help: 'Labels, by what came of reading them',
      labelNames: ['outcome'],
      registers,
    }),
    awaited: new Histogram({
      name: 'rollcall_awaited_answer_seconds',
      help: 'From a frame whose reads come apart from it to its durable answers',
      labelNames: ['source'],
      buckets: [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5],
      registers,
    }),
    waiting: new Gauge({
      name: 'rollcall_frames_waiting',
      help: 'Frames without answers',
      labelNames: ['line'],
      registers,
    }),
    stops: new Counter({
      name: 'rollcall_stops_total',
      help: 'Stops asked for, by line and flag',
      labelNames: ['line', 'flag'],
      registers,
    }),
  }
}

export function openAnswerMetrics(registers: Registry[], nowMs: () => number = Date.now): AnswerMetrics {
  const meters = openMeters(registers)
  // A counter that is first seen above 0 has not risen, for who reads it: so each begins at 0 when its line is first heard of.
  const nameOf = boundedNames(linesMax, (line) => {
    meters.late.inc({ line }, 0)
    for (const flag of flags) meters.stops.inc({ line, flag }, 0)
  })
  /** When frames whose reads come apart were recorded, by run and frame: as many as wait. */
  const recorded = new Map<string, { readonly atMs: number; readonly source: string }>()

  const frame = (runId: string, { body, atMs }: Entry & { type: 'frame' }): void => {
    if (!body.capture && !body.awaits) return
    recorded.set(`${runId} ${body.frame}`, { atMs, source: body.capture ? 'picture' : 'reader' })
  }
  const answer = (run: Pick<Run, 'runId' | 'positionUm'>, line: string, body: AnswerBody): void => {
    const marginMm = (body.noReturnUm - run.positionUm) / 1000
    meters.margin.observe({ line }, marginMm)
    if (marginMm < 0) meters.late.inc({ line })
    meters.reads.inc({ outcome: outcomeOf(body) })
    const key = `${run.runId} ${body.frame}`
    const from = recorded.get(key)
    if (!from) return
    recorded.delete(key)
    meters.awaited.observe({ source: from.source }, Math.max(0, nowMs() - from.atMs) / 1000)
  }
  return {
    written(run, entries) {
      const line = nameOf(run.state.line.line)
      for (const entry of entries) {
        if (entry.type === 'frame') frame(run.runId, entry)
        else if (entry.type === 'answer') answer(run, line, entry.body)
      }
      meters.waiting.set({ line }, run.state.waiting.size)
    },
    stopped: ({ line, flag }) => meters.stops.inc({ line: nameOf(line), flag }),
  }
}
