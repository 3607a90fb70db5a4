// The WebSocket of a run: from event to durable answers of 1, 4 and 16 lines at a steady 320 labels a second each, and labels a second
// flat out, against a bare echo of the same messages and plain inserts of the same rows.
import path from 'node:path'
import { setTimeout as pause, setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { openStage, type Stage } from './answering-stage.ts'
import { type Bench, type BenchTools, benchProgram } from './bench.ts'
import { startProgram } from './built-server.ts'
import { batchFrames, cellCount } from './labels.ts'
import { type Controller, openController, openEchoed, type Prepared, prepare } from './line-controllers.ts'
import { openPlainInserts } from './plain-inserts.ts'
import { interleave, quantile, timed } from './rounds.ts'
import { type Row, rateRow, shown, timeRow } from './rows.ts'

const framesPerSecond = 80
const periodMs = 1000 / framesPerSecond
/** Timers wake within this; what is left is waited out turn by turn. */
const timerSlackMs = 2
const lateMs = 1

/** Between sensor and head, at this speed: how long an answer may take. Code offsets and lags of the line are left out. */
const headMm = 400
const speedMPerMin = 100
const inTimeMs = (headMm / ((speedMPerMin * 1000) / 60)) * 1000

const lineCounts = [1, 4, 16] as const

interface Steady {
  /** From when each event was due to its answers. */
  readonly latencies: readonly number[]
  /** Events that this program itself sent more than 1 ms late. */
  readonly sentLate: number
}

interface Measuring {
  readonly stage: Stage
  readonly echo: string
  readonly tools: BenchTools
}

async function until(dueMs: number): Promise<void> {
  const left = dueMs - performance.now()
  if (left > timerSlackMs) await pause(left - timerSlackMs)
  while (performance.now() < dueMs) await turnOfTheLoop()
}

/** Each line sends a frame a period, the lines one after the other within it. */
async function driveSteadily(
  lines: readonly { controller: Controller; messages: readonly Prepared[] }[],
): Promise<Steady> {
  const count = lines[0]?.messages.length ?? 0
  const replies: Promise<number>[] = []
  let sentLate = 0
  const startMs = performance.now() + periodMs
  for (let i = 0; i < count * lines.length; i++) {
    const line = lines[i % lines.length]
    const message = line?.messages[Math.floor(i / lines.length)]
    if (!line || !message) throw new RangeError('lines have as many messages each')
    const dueMs = startMs + (i * periodMs) / lines.length
    await until(dueMs)
    if (performance.now() - dueMs > lateMs) sentLate++
    replies.push(line.controller.send(message).then((atMs) => atMs - dueMs))
  }
  return { latencies: await Promise.all(replies), sentLate }
}

const p50Of = (latencies: readonly number[]): number =>
  quantile(
    latencies.toSorted((a, b) => a - b),
    0.5,
  )

async function withControllers<T>(
  open: (index: number) => Promise<Controller>,
  count: number,
  work: (controllers: readonly Controller[]) => Promise<T>,
): Promise<T> {
  const controllers = await Promise.all(Array.from({ length: count }, (_, index) => open(index)))
  try {
    return await work(controllers)
  } finally {
    for (const controller of controllers) controller.close()
  }
}

async function measureSteady(lineCount: number, { stage, echo, tools }: Measuring): Promise<Row> {
  const { quick } = tools
  const frames = (quick ? 2 : 5) * framesPerSecond
  const rounds = quick ? 1 : 3
  tools.tell(`${lineCount} lines, ${(2 * rounds * frames) / framesPerSecond} s of events`)
  const own: Steady[] = []
  let messages: readonly (readonly Prepared[])[] = []
  const drive = (open: (index: number) => Promise<Controller>): Promise<Steady> =>
    withControllers(open, lineCount, (controllers) =>
      driveSteadily(controllers.map((controller, i) => ({ controller, messages: messages[i] ?? [] }))),
    )
  const next = (count: number) => Array.from({ length: lineCount }, (_, run) => prepare(stage.events(run, count), 1))
  const openLine = (run: number) => openController(stage.server.url, stage.runIds[run] ?? '')
  messages = next(framesPerSecond)
  await drive(openLine)
  const figures = await interleave(
    { rounds },
    {
      async server() {
        messages = next(frames)
        const steady = await drive(openLine)
        own.push(steady)
        return p50Of(steady.latencies)
      },
      bare: async () => p50Of((await drive(() => openEchoed(echo))).latencies),
    },
  )
  const all = own.flatMap(({ latencies }) => latencies)
  const sentLate = own.reduce((sum, steady) => sum + steady.sentLate, 0)
  const inTime = all.filter((ms) => ms <= inTimeMs).length
  return timeRow({
    what: `WebSocket, event to durable answers, ${lineCount} ${lineCount === 1 ? 'line' : 'lines'} at a steady ${framesPerSecond * cellCount} labels/s each`,
    unit: 'ms',
    figures: figures.server,
    latencies: { values: all, unit: 'ms' },
    against: [{ what: 'bare echo', figures: figures.bare }],
    note: `${shown((100 * inTime) / all.length)} % of ${all.length} events were answered within ${shown(inTimeMs)} ms, which is ${headMm} mm from sensor to head at ${speedMPerMin} m/min; ${sentLate} were sent over ${lateMs} ms late by the bench itself (timed from when they were due)`,
  })
}

/** Frames sent and not answered, well within the window. */
const flightFrames = 512

async function driveFlatOut(controller: Controller, messages: readonly Prepared[]): Promise<number> {
  const flight: Promise<number>[] = []
  return timed(async () => {
    for (const [i, message] of messages.entries()) {
      const behind = i - flightFrames / batchFrames
      if (behind >= 0) await flight[behind]
      flight.push(controller.send(message))
    }
    await Promise.all(flight)
  })
}

async function measureFlatOut({ stage, echo, tools }: Measuring): Promise<Row> {
  const plain = openPlainInserts(path.join(await tools.folder('plain'), 'plain.sqlite'))
  const count = tools.quick ? 40 : 120
  const labels = count * batchFrames * cellCount
  tools.tell('flat out')
  let messages: readonly Prepared[] = []
  const rate = async (open: () => Promise<Controller>): Promise<number> =>
    withControllers(open, 1, async ([controller]) => {
      if (!controller) throw new RangeError('one controller was opened')
      return (1000 * labels) / (await driveFlatOut(controller, messages))
    })
  const figures = await interleave(
    { rounds: tools.quick ? 2 : 5, warmUp: 1 },
    {
      server() {
        messages = prepare(stage.events(0, count * batchFrames), batchFrames)
        return rate(() => openController(stage.server.url, stage.runIds[0] ?? ''))
      },
      bare: () => rate(() => openEchoed(echo)),
      plain() {
        const batch = Array.from({ length: batchFrames }, () => stage.frameRows).flat()
        return (1000 * labels) / plain.insert(Array.from({ length: count }, () => batch))
      },
    },
  )
  plain.close()
  return rateRow({
    what: `WebSocket, durable answers flat out, one line, ${batchFrames} frames a message`,
    unit: 'answers/s',
    figures: figures.server,
    against: [
      { what: 'bare echo', figures: figures.bare },
      { what: 'plain inserts', figures: figures.plain },
    ],
  })
}

export const benchLine: Bench = async (tools) => {
  const stage = await openStage(tools, Math.max(...lineCounts))
  const echo = await startProgram([benchProgram('bare-echo')])
  try {
    const measuring = { stage, echo: echo.url, tools }
    const rows: Row[] = []
    for (const count of lineCounts) rows.push(await measureSteady(count, measuring))
    rows.push(await measureFlatOut(measuring))
    await stage.demandAllLaid()
    return rows
  } finally {
    await echo.stop()
    await stage.close()
  }
}
