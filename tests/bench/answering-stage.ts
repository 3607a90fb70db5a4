// The stage on which answering is measured: the built server with open runs, a bare express beside it, and the rows that the server
// stores for a frame, to be put into plain SQLite.
import { writeFile } from 'node:fs/promises'
import path from 'node:path'
import { connect, type Server } from '../../src/cli/index.ts'
import type { FrameEvent, FramesOutcome } from '../../src/runs/index.ts'
import { type BenchTools, benchProgram } from './bench.ts'
import { openRuns, type Program, startProgram, startServer } from './built-server.ts'
import { batchFrames, cellCount, frameEvent, framesFrom } from './labels.ts'
import { postBytes } from './line-client.ts'

export interface Stage {
  readonly server: Program
  readonly api: Server
  readonly bare: Program
  readonly runIds: readonly string[]
  /** Requests for the next frames of a run, and the same bodies for the bare route. */
  requests(run: number, shape: { readonly count: number; readonly framesEach: number }): Requests
  /** The next frame events of a run. */
  events(run: number, count: number): readonly FrameEvent[]
  /** Ledger rows of one frame, as stored. */
  readonly frameRows: readonly Uint8Array[]
  /** Throws unless every label sent was answered `lay` and is in the run's counts. */
  demandAllLaid(): Promise<void>
  close(): Promise<void>
}

export interface Requests {
  readonly server: readonly Buffer[]
  readonly bare: readonly Buffer[]
}

/** All runs are of one job and pass, where a serial laid twice is a duplicate. The first run takes most frames. */
const serialsFrom = (run: number): number => (run === 0 ? 0 : 600_000 + 20_000 * run)

export async function openStage(tools: BenchTools, runCount: number): Promise<Stage> {
  const folder = await tools.folder('answering')
  const server = await startServer(path.join(folder, 'data'))
  const api = connect(server.url)
  const runIds = await openRuns(api, runCount)
  const nextFrames = runIds.map(() => 1)
  const take = (run: number, count: number): number => {
    const first = nextFrames[run] ?? 1
    nextFrames[run] = first + count
    return first
  }
  const single = await outcomeOf(api, runIds[0], frameEvent(take(0, 1)))
  const batch = await outcomeOf(
    api,
    runIds[0],
    framesFrom({ first: take(0, batchFrames), count: batchFrames }, (frame) => frameEvent(frame)),
  )
  const repliesFile = path.join(folder, 'replies.json')
  await writeFile(repliesFile, JSON.stringify({ '/single': single, '/batch': batch }))
  const bare = await startProgram([benchProgram('bare-express'), repliesFile])
  const ledger = (await api.text(`/runs/${runIds[0]}/ledger`)).trimEnd().split('\n')
  return {
    server,
    api,
    bare,
    runIds,
    frameRows: ledger.slice(-(cellCount + 1)).map((line) => Buffer.from(line)),
    events: (run, count) =>
      framesFrom({ first: take(run, count), count }, (frame) => frameEvent(frame, serialsFrom(run))),
    requests(run, { count, framesEach }) {
      const first = take(run, count * framesEach)
      const bodies = Array.from({ length: count }, (_, i) => {
        const frames = { first: first + i * framesEach, count: framesEach }
        const events = framesFrom(frames, (frame) => frameEvent(frame, serialsFrom(run)))
        return framesEach === 1 ? events[0] : events
      })
      const [target, twin] = [`/api/v1/runs/${runIds[run]}/frames`, framesEach === 1 ? '/single' : '/batch']
      return {
        server: bodies.map((body) => postBytes(server.url, target, body)),
        bare: bodies.map((body) => postBytes(bare.url, twin, body)),
      }
    },
    demandAllLaid: () => demandAllLaid(api, runIds, nextFrames),
    close: async () => {
      await Promise.all([server.stop(), bare.stop()])
    },
  }
}

async function outcomeOf(api: Server, runId: string | undefined, body: unknown): Promise<FramesOutcome> {
  const outcome = await api.send<FramesOutcome>('POST', `/runs/${runId}/frames`, body)
  const laid = outcome.answers.every((answer) => answer.decision === 'lay' && answer.layers.length === 2)
  if (!laid || outcome.answers.length === 0) throw new Error(`not all laid: ${JSON.stringify(outcome).slice(0, 500)}`)
  return outcome
}

async function demandAllLaid(api: Server, runIds: readonly string[], nextFrames: readonly number[]): Promise<void> {
  for (const [i, runId] of runIds.entries()) {
    const { counts } = await api.get<{ counts: { labels: number; lay: number } }>(`/runs/${runId}`)
    const sent = (nextFrames[i] ?? 0) * cellCount
    if (counts.labels !== sent || counts.lay !== sent) {
      throw new Error(`run ${runId}: ${sent} labels sent, ${counts.labels} answered, ${counts.lay} lay`)
    }
  }
}
