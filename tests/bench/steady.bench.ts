// From event to durable answer at a steady 320 labels a second: events leave when their time comes, whether or not the last was
// answered, and are timed from when they were due.
import { setTimeout as pause, setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { openStage, type Stage } from './answering-stage.ts'
import type { Bench, BenchTools } from './bench.ts'
import { cellCount } from './labels.ts'
import { openLineClient } from './line-client.ts'
import { interleave, quantile } from './rounds.ts'
import { type Row, timeRow } from './rows.ts'

const framesPerSecond = 80
const periodMs = 1000 / framesPerSecond
/** Timers wake within this; what is left is waited out turn by turn. */
const timerSlackMs = 2
const lateMs = 1

interface Steady {
  /** From when each event was due to its answer. */
  readonly latencies: readonly number[]
  /** Events that this program itself sent more than 1 ms late. */
  readonly sentLate: number
}

async function until(dueMs: number): Promise<void> {
  const left = dueMs - performance.now()
  if (left > timerSlackMs) await pause(left - timerSlackMs)
  while (performance.now() < dueMs) await turnOfTheLoop()
}

async function driveSteadily(url: string, requests: readonly Buffer[]): Promise<Steady> {
  const client = await openLineClient(url)
  const replies: Promise<number>[] = []
  let sentLate = 0
  const startMs = performance.now() + periodMs
  for (const [i, request] of requests.entries()) {
    const dueMs = startMs + i * periodMs
    await until(dueMs)
    if (performance.now() - dueMs > lateMs) sentLate++
    replies.push(
      client.send(request).then(({ status, body, atMs }) => {
        if (status !== 200) throw new Error(`answered ${status}: ${body.toString().slice(0, 500)}`)
        return atMs - dueMs
      }),
    )
  }
  const latencies = await Promise.all(replies)
  client.close()
  return { latencies, sentLate }
}

const p50Of = (latencies: readonly number[]): number =>
  quantile(
    latencies.toSorted((a, b) => a - b),
    0.5,
  )

async function measure(stage: Stage, { quick, tell }: BenchTools): Promise<Row> {
  const frames = (quick ? 2 : 5) * framesPerSecond
  tell(`${(frames / framesPerSecond) * (quick ? 2 : 6)} s of events`)
  const own: Steady[] = []
  let requests = stage.requests(0, { count: framesPerSecond, framesEach: 1 })
  await driveSteadily(stage.server.url, requests.server)
  const figures = await interleave(
    { rounds: quick ? 1 : 3 },
    {
      async server() {
        requests = stage.requests(0, { count: frames, framesEach: 1 })
        const steady = await driveSteadily(stage.server.url, requests.server)
        own.push(steady)
        return p50Of(steady.latencies)
      },
      bare: async () => p50Of((await driveSteadily(stage.bare.url, requests.bare)).latencies),
    },
  )
  const all = own.flatMap(({ latencies }) => latencies)
  const sentLate = own.reduce((sum, steady) => sum + steady.sentLate, 0)
  const overPeriod = all.filter((ms) => ms > periodMs).length
  return timeRow({
    what: `event to durable answers, steady ${framesPerSecond * cellCount} labels/s, one connection`,
    unit: 'ms',
    figures: figures.server,
    latencies: { values: all, unit: 'ms' },
    against: [{ what: 'bare express', figures: figures.bare }],
    note: `of ${all.length} events ${sentLate} were sent over ${lateMs} ms late by the bench itself (timed from when they were due), ${overPeriod} were answered after the next event was due (${periodMs} ms)`,
  })
}

export const benchSteady: Bench = async (tools) => {
  const stage = await openStage(tools, 1)
  try {
    const row = await measure(stage, tools)
    await stage.demandAllLaid()
    return [row]
  } finally {
    await stage.close()
  }
}
