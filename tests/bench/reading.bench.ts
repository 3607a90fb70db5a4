// Reading captures of the demo's roll, its planted troubles among them, against decoding the same pictures to gray and doing nothing
// with them; then through worker threads, as the server does.
import { readFile } from 'node:fs/promises'
import path from 'node:path'
import sharp from 'sharp'
import { writeCapture } from '../../demo-jobs/draw-captures.ts'
import { webFrame } from '../../demo-jobs/quillgarth-preserves/web.ts'
import { preservesScenario } from '../../demo-jobs/scenarios.ts'
import { camera } from '../../demo-jobs/web.ts'
import { type CaptureOutcome, type CaptureTask, openReader, readCapture } from '../../src/codes/index.ts'
import { systemClock } from '../../src/kernel/clock.ts'
import { openThreads, type Threads } from '../../src/queue/index.ts'
import { type Bench, type BenchTools, root } from './bench.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, rateRow, timeRow } from './rows.ts'

const drawnEvery = (quick: boolean): number => (quick ? 24 : 5)

async function drawTasks({ folder, quick }: BenchTools): Promise<readonly CaptureTask[]> {
  const into = await folder('captures')
  const { roll } = preservesScenario
  const tasks: CaptureTask[] = []
  for (let frame = 0; frame < roll.length; frame += drawnEvery(quick)) {
    const drawn = roll[frame]
    if (!drawn) break
    const file = await writeCapture(preservesScenario, drawn, into)
    tasks.push({ kind: 'capture', path: file, symbologies: ['qr'], frame: webFrame, camera })
  }
  return tasks
}

const decodeAlone = async (file: string): Promise<void> => {
  await sharp(await readFile(file))
    .toColourspace('b-w')
    .raw()
    .toBuffer()
}

const textsIn = (outcomes: readonly CaptureOutcome[]): number =>
  outcomes.reduce((sum, { reads }) => sum + reads.filter(({ text }) => text !== undefined).length, 0)

async function oneThread(tasks: readonly CaptureTask[], rounds: number): Promise<Row> {
  const tools = { reader: await openReader(), clock: systemClock }
  // As in the reading threads, where the decoder keeps nothing and works on one core.
  sharp.cache(false)
  sharp.concurrency(1)
  const latencies: number[] = []
  let outcomes: CaptureOutcome[] = []
  let round = 0
  const figures = await interleave(
    { rounds, warmUp: 1 },
    {
      async reading() {
        outcomes = []
        const own: number[] = []
        for (const task of tasks) own.push(await timed(async () => outcomes.push(await readCapture(task, tools))))
        if (round++ > 0) latencies.push(...own)
        return own.reduce((sum, ms) => sum + ms, 0) / tasks.length
      },
      async decoding() {
        const ms = await timed(async () => {
          for (const { path: file } of tasks) await decodeAlone(file)
        })
        return ms / tasks.length
      },
    },
  )
  const codes = tasks.length * webFrame.cells.length
  return timeRow({
    what: 'read a capture of four labels, one thread',
    unit: 'ms',
    figures: figures.reading,
    latencies: { values: latencies, unit: 'ms' },
    against: [{ what: 'decoding the picture alone', figures: figures.decoding }],
    note: `${tasks.length} pictures of 2200 × 600 px from all over the demo's roll, ${textsIn(outcomes)} of ${codes} codes read, smudges and glare included`,
  })
}

async function throughThreads(tasks: readonly CaptureTask[], rounds: number): Promise<readonly Row[]> {
  const script = new URL(`file://${path.join(root, 'dist', 'workers', 'read-capture.js')}`)
  const pools = { one: openThreads({ script, count: 1 }), two: openThreads({ script, count: 2 }) }
  const rate = async (threads: Threads): Promise<number> => {
    const ms = await timed(() => Promise.all(tasks.map((task) => threads.run(task))))
    return (1000 * tasks.length) / ms
  }
  await Promise.all([pools.one.warm(), pools.two.warm()])
  const figures = await interleave({ rounds, warmUp: 1 }, { one: () => rate(pools.one), two: () => rate(pools.two) })
  await Promise.all([pools.one.close(), pools.two.close()])
  const against = [{ what: 'one thread', figures: figures.one }]
  return [
    rateRow({ what: 'captures read in a worker thread', unit: 'captures/s', figures: figures.one }),
    rateRow({ what: 'captures read in two worker threads', unit: 'captures/s', figures: figures.two, against }),
  ]
}

export const benchReading: Bench = async (tools) => {
  tools.tell('drawing captures')
  const tasks = await drawTasks(tools)
  const rounds = tools.quick ? 2 : 5
  tools.tell(`${tasks.length} captures`)
  return [await oneThread(tasks, rounds), ...(await throughThreads(tasks, rounds))]
}
