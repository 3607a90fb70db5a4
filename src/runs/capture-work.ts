// The queued work that reads a frame's picture in a thread and gives the run what was read.
import type { CaptureTask } from '../codes/index.ts'
import { assert } from '../kernel/assert.ts'
import { Problem } from '../kernel/problem.ts'
import type { WorkContext, WorkItem, WorkOrder, WorkQueue } from '../queue/port.ts'
import { demandOrientation } from './geometry.ts'
import type { Runs } from './registry.ts'
import type { Run } from './run.ts'
import { jobsOf } from './state.ts'

export interface ReadWork {
  readonly runId: string
  readonly frame: number
  readonly path: string
}

/** The kind of work that reads a picture. */
export const readKind = 'read-capture'

const readTriesMax = 3

/** The same picture asked for twice is one piece of work; a running line goes before everything else. */
export const readOrder = (work: ReadWork): WorkOrder => ({
  id: `read:${work.runId}:${work.frame}`,
  kind: readKind,
  payload: work,
  priority: 0,
  attemptsMax: readTriesMax,
})

// What a reading thread needs to read one picture of a run.
function readTaskOf(run: Run, file: string): CaptureTask {
  const { frozen, line, ticket } = run.state
  const frame = frozen.jobs[0]?.frame
  assert(frame, 'a run opens with at least one job')
  if (!line.camera) {
    throw new Problem('line-schema', `the line ${line.line} has no camera; pictures cannot be read`, {
      pointer: '/camera',
    })
  }
  // A picture may have been taken under an earlier ticket of the run.
  const symbologies = [...new Set(jobsOf(run.state).flatMap((job) => job.code.symbologies))]
  const { frameTurnDeg, cells } = demandOrientation(frame, ticket, line)
  const onRoll = new Set(cells.map(({ cell }) => cell))
  return {
    kind: 'capture',
    path: file,
    symbologies,
    frame: { ...frame, cells: frame.cells.filter(({ cell }) => onRoll.has(cell)) },
    camera: line.camera,
    turned: frameTurnDeg === 180,
  }
}

/**
 * Cancels the reading of a picture: its frame has no reads, for otherwise it would be pending for ever. Those come first: what cannot be
 * recorded can be cancelled again.
 */
export async function cancelRead(
  { runs, queue }: { readonly runs: Pick<Runs, 'get'>; readonly queue: Pick<WorkQueue, 'cancel'> },
  { id, payload }: Pick<WorkItem, 'id' | 'payload'>,
): Promise<WorkItem> {
  const { runId, frame } = payload as ReadWork
  const run = await runs.get(runId)
  await run.pictureRead(frame, [])
  return queue.cancel(id)
}

interface ReadOutcome {
  /** SHA-256 of the bytes that were read. */
  readonly capture: string
  readonly reads: readonly PictureRead[]
  readonly ms: unknown
}

interface PictureRead {
  readonly cell?: number
  readonly lane?: number
  readonly text?: string
  readonly symbology?: string
  readonly quality?: number
}

const toReadBody = ({ cell, lane, text, symbology, quality }: PictureRead) => ({
  ...(cell !== undefined ? { cell } : {}),
  ...(lane !== undefined ? { lane } : {}),
  ...(text !== undefined ? { text } : {}),
  ...(symbology !== undefined ? { symbology } : {}),
  ...(quality !== undefined ? { qualityPpm: Math.round(quality * 1e6) } : {}),
})

// A picture that can't be decoded, or whose last try failed, is a frame of no-reads: its labels are still answered, and the work
// shows as dead.
const isHopeless = (error: unknown): boolean =>
  error instanceof Problem && (error.code.startsWith('picture-') || error.code === 'line-schema')

// What the ledger says that was read must be what was read.
const notAsRecorded = (file: string): Problem =>
  new Problem('picture-unreadable', `${file} was changed after its frame was recorded`, { file })

/** The handler of `read-capture` work. Running twice is harmless: a frame takes its picture's reads once. */
export function readCaptureHandler(parts: {
  readonly runs: Runs
  readonly read: (task: CaptureTask, signal: AbortSignal) => Promise<unknown>
}): (payload: unknown, context: Pick<WorkContext, 'signal' | 'attempt'>) => Promise<unknown> {
  return async (payload, { signal, attempt }) => {
    const { runId, frame, path } = payload as ReadWork
    const run = await parts.runs.get(runId)
    try {
      const { capture, reads, ms } = (await parts.read(readTaskOf(run, path), signal)) as ReadOutcome
      if (capture !== run.state.frames.get(frame)?.capture) throw notAsRecorded(path)
      await run.pictureRead(frame, reads.map(toReadBody))
      return { reads: reads.length, ms }
    } catch (error) {
      const last = attempt >= readTriesMax && !signal.aborted
      if (isHopeless(error) || last) await run.pictureRead(frame, [])
      throw error
    }
  }
}
