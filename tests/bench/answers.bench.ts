// Durable answers a second over HTTP, frame by frame and in batches, against a bare express route that exchanges as many bytes and
// against plain inserts of the same rows.
import path from 'node:path'
import { openStage, type Requests, type Stage } from './answering-stage.ts'
import type { Bench, BenchTools } from './bench.ts'
import { batchFrames, cellCount } from './labels.ts'
import { openLineClient, sendInTurn } from './line-client.ts'
import { openPlainInserts, type PlainInserts } from './plain-inserts.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, rateRow, timeRow } from './rows.ts'

const connectionCount = 16

interface Shape {
  readonly what: string
  readonly connections: number
  readonly framesEach: number
  /** Requests a round, over all connections. */
  readonly requests: number
  readonly note?: string
}

const shapes = (quick: boolean): readonly Shape[] => [
  {
    what: 'durable answers, one frame a request, one connection',
    connections: 1,
    framesEach: 1,
    requests: quick ? 300 : 1_000,
  },
  {
    what: `durable answers, one frame a request, ${connectionCount} connections`,
    connections: connectionCount,
    framesEach: 1,
    requests: quick ? 480 : 1_920,
    note: 'each connection is the controller of a run of its own, since the frames of one run come in order',
  },
  {
    what: `durable answers, ${batchFrames} frames a request, one connection`,
    connections: 1,
    framesEach: batchFrames,
    requests: quick ? 20 : 60,
  },
]

interface Measuring {
  readonly stage: Stage
  readonly plain: PlainInserts
  readonly rounds: number
}

/** Sends each list of requests in turn over a connection of its own, all at once. */
async function drive(url: string, requests: readonly (readonly Buffer[])[]): Promise<Driven> {
  // Connections are new in each round: while the other sides have their turns, the servers would close idle ones.
  const connections = await Promise.all(requests.map(async (own) => ({ own, client: await openLineClient(url) })))
  let latencies: number[] = []
  const ms = await timed(async () => {
    latencies = (await Promise.all(connections.map(({ own, client }) => sendInTurn(client, own)))).flat()
  })
  for (const { client } of connections) client.close()
  return { ms, latencies }
}

interface Driven {
  readonly ms: number
  readonly latencies: readonly number[]
}

async function measureShape(shape: Shape, { stage, plain, rounds }: Measuring): Promise<Row> {
  const { connections, framesEach } = shape
  const count = Math.floor(shape.requests / connections)
  const answers = connections * count * framesEach * cellCount
  const latencies: number[] = []
  let prepared: readonly Requests[] = []
  let round = 0
  const figures = await interleave(
    { rounds, warmUp: 1 },
    {
      async server() {
        prepared = Array.from({ length: connections }, (_, run) => stage.requests(run, { count, framesEach }))
        const requests = prepared.map(({ server }) => server)
        const driven = await drive(stage.server.url, requests)
        if (round++ > 0) latencies.push(...driven.latencies)
        return (1000 * answers) / driven.ms
      },
      async bare() {
        const requests = prepared.map(({ bare }) => bare)
        return (1000 * answers) / (await drive(stage.bare.url, requests)).ms
      },
      plain() {
        const batch = Array.from({ length: framesEach }, () => stage.frameRows).flat()
        const batches = Array.from({ length: connections * count }, () => batch)
        return (1000 * answers) / plain.insert(batches)
      },
    },
  )
  return rateRow({
    what: shape.what,
    unit: 'answers/s',
    figures: figures.server,
    latencies: { values: latencies, unit: 'ms' },
    against: [
      { what: 'bare express', figures: figures.bare },
      { what: 'plain inserts', figures: figures.plain },
    ],
    note: shape.note,
  })
}

async function cpuMs({ server, bare }: Stage, side: 'server' | 'bare'): Promise<number> {
  if (side === 'bare') return ((await (await fetch(`${bare.url}/cpu`)).json()) as { cpuMs: number }).cpuMs
  const text = await (await fetch(`${server.url}/metrics`)).text()
  const [, seconds] = /^rollcall_process_cpu_seconds_total ([\d.e+-]+)/m.exec(text) ?? []
  return Number(seconds) * 1000
}

/** What a request costs the server's processor, whatever the client and the rest of the machine do. */
async function measureCpu(shape: Shape, { stage, rounds }: Measuring): Promise<Row> {
  const { framesEach } = shape
  let requests: Requests = { server: [], bare: [] }
  const spend = async (side: 'server' | 'bare'): Promise<number> => {
    const before = await cpuMs(stage, side)
    await drive(stage[side].url, [requests[side]])
    return ((await cpuMs(stage, side)) - before) / (shape.requests * framesEach)
  }
  const figures = await interleave(
    { rounds: Math.min(rounds, 3) },
    {
      server() {
        requests = stage.requests(0, { count: shape.requests, framesEach })
        return spend('server')
      },
      bare: () => spend('bare'),
    },
  )
  return timeRow({
    what: `processor time a frame of ${cellCount} labels, ${framesEach === 1 ? 'one' : framesEach} a request`,
    unit: 'ms',
    figures: figures.server,
    against: [{ what: 'bare express', figures: figures.bare }],
  })
}

async function measureAll(stage: Stage, tools: BenchTools): Promise<readonly Row[]> {
  const plain = openPlainInserts(path.join(await tools.folder('plain'), 'plain.sqlite'))
  const measuring: Measuring = { stage, plain, rounds: tools.quick ? 2 : 5 }
  const rows: Row[] = []
  for (const shape of shapes(tools.quick)) {
    tools.tell(shape.what)
    rows.push(await measureShape(shape, measuring))
  }
  for (const shape of shapes(tools.quick)) {
    if (shape.connections === 1) rows.push(await measureCpu(shape, measuring))
  }
  plain.close()
  return rows
}

export const benchAnswers: Bench = async (tools) => {
  const stage = await openStage(tools, connectionCount)
  try {
    const rows = await measureAll(stage, tools)
    await stage.demandAllLaid()
    return rows
  } finally {
    await stage.close()
  }
}
