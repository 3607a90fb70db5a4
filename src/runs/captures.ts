// Pictures of frames: stored in `captures/<run>/<frame>_<positionUm>.<ext>`, announced to the run, read by queued work. A picture
// that is posted and one that is dropped in the folder take the same way.
import { mkdir, open, readdir, readFile, rename, rm, stat } from 'node:fs/promises'
import path from 'node:path'
import type { CaptureTask } from '../codes/index.ts'
import { assert } from '../kernel/assert.ts'
import { sha256Hex } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import type { WorkQueue } from '../queue/port.ts'
import type { Runs } from './registry.ts'
import type { FramesOutcome, Run } from './run.ts'

export interface CaptureName {
  readonly frame: number
  readonly positionUm: number
}

const namePattern = /^(\d{1,12})_(-?\d{1,15})\.(png|jpg|jpeg|tif|tiff)$/i

/** Frame and position (µm) of a capture's file name. Problem `capture-name`. */
export function parseCaptureName(name: string): CaptureName {
  const parts = namePattern.exec(name)
  if (!parts) {
    throw new Problem('capture-name', `${name} is not named <frame>_<position in µm>.png, .jpg or .tif`, { file: name })
  }
  return { frame: Number(parts[1]), positionUm: Number(parts[2]) }
}

const extensions: Readonly<Record<string, string>> = { 'image/png': 'png', 'image/jpeg': 'jpg', 'image/tiff': 'tif' }

export const captureMediaTypes = Object.keys(extensions)

export interface Captures {
  /** Stores a posted picture and announces its frame. */
  post(run: Run, picture: CaptureName & { bytes: Uint8Array; mediaType: string }): Promise<FramesOutcome>
  /** Announces the complete pictures in a run's folder that it doesn't know yet, in order of frames. Returns what was refused. */
  take(run: Run): Promise<readonly { readonly file: string; readonly problem: Problem }[]>
  /** Queues the reading of pictures that a restart left unread. */
  resume(run: Run): Promise<void>
  folderOf(runId: string): string
}

interface CaptureParts {
  readonly folder: string
  readonly queue: WorkQueue
}

export interface ReadWork {
  readonly runId: string
  readonly frame: number
  readonly path: string
}

/** Sizes seen in the last look, so that a picture counts as complete when it stopped growing or shows its own end. */
type Seen = Map<string, number>

async function isComplete(file: string, seen: Seen): Promise<boolean> {
  const { size } = await stat(file)
  const before = seen.get(file)
  seen.set(file, size)
  return size > 0 && (before === size || (await showsItsEnd(file, size)))
}

// JPEG ends with EOI (ITU-T T.81 B.1.1.3), PNG with IEND (RFC 2083 §4.1.4); a TIFF shows nothing and must stop growing.
async function showsItsEnd(file: string, size: number): Promise<boolean> {
  const handle = await open(file)
  try {
    const tail = new Uint8Array(Math.min(12, size))
    await handle.read(tail, 0, tail.length, size - tail.length)
    const hex = Buffer.from(tail).toString('hex')
    return hex.endsWith('ffd9') || hex.endsWith('49454e44ae426082')
  } finally {
    await handle.close()
  }
}

async function storeWhole(file: string, bytes: Uint8Array): Promise<void> {
  const temporary = `${file}.part`
  try {
    const handle = await open(temporary, 'w')
    try {
      await handle.writeFile(bytes)
      await handle.sync()
    } finally {
      await handle.close()
    }
    await rename(temporary, file)
  } catch (error) {
    await rm(temporary, { force: true })
    throw error
  }
}

export function openCaptures({ folder, queue }: CaptureParts): Captures {
  const seen: Seen = new Map()
  const folderOf = (runId: string): string => path.join(folder, runId)

  const enqueue = (work: ReadWork): Promise<unknown> =>
    queue.enqueue({
      id: `read:${work.runId}:${work.frame}`,
      kind: 'read-capture',
      payload: work,
      priority: 0,
      attemptsMax: 3,
    })

  const announce = async (run: Run, name: CaptureName, file: string, bytes: Uint8Array): Promise<FramesOutcome> => {
    const positionMm = name.positionUm / 1000
    const { fresh, ...outcome } = await run.capture({ frame: name.frame, positionMm, digest: sha256Hex(bytes) })
    if (fresh) await enqueue({ runId: run.runId, frame: name.frame, path: file })
    return outcome
  }

  return {
    folderOf,
    async post(run, picture) {
      const extension = extensions[picture.mediaType]
      if (!extension)
        throw new Problem('wrong-media-type', `a picture is ${captureMediaTypes.join(', ')}`, {
          measured: picture.mediaType,
        })
      await mkdir(folderOf(run.runId), { recursive: true })
      const file = path.join(
        folderOf(run.runId),
        `${String(picture.frame).padStart(6, '0')}_${picture.positionUm}.${extension}`,
      )
      const known = run.state.frames.has(picture.frame)
      if (!known) await storeWhole(file, picture.bytes)
      try {
        return await announce(run, picture, file, picture.bytes)
      } catch (error) {
        if (!known && !run.state.frames.has(picture.frame)) await rm(file, { force: true })
        throw error
      }
    },
    async take(run) {
      const refused: { file: string; problem: Problem }[] = []
      const names = await readdir(folderOf(run.runId)).catch(() => [])
      const found = names
        .filter((name) => namePattern.test(name))
        .map((name) => ({ name, ...parseCaptureName(name) }))
        .filter(({ frame }) => !run.state.frames.has(frame))
        .toSorted((a, b) => a.frame - b.frame)
      for (const { name, ...at } of found) {
        const file = path.join(folderOf(run.runId), name)
        // Frames are announced in order, so the first one still being written holds back those behind it.
        if (!(await isComplete(file, seen))) break
        seen.delete(file)
        try {
          const { size } = await stat(file)
          if (size > limits.captureBytesMax) {
            throw new Problem('picture-too-large', `${name} is too large`, {
              file: name,
              measured: size,
              limit: limits.captureBytesMax,
            })
          }
          await announce(run, at, file, await readFile(file))
        } catch (error) {
          if (!(error instanceof Problem)) throw error
          if (error.code === 'run-state' || error.code === 'ledger-unavailable') break
          await rename(file, `${file}.refused`)
          refused.push({ file: name, problem: error })
        }
      }
      return refused
    },
    async resume(run) {
      const names = await readdir(folderOf(run.runId)).catch(() => [])
      for (const name of names.filter((candidate) => namePattern.test(candidate))) {
        const { frame } = parseCaptureName(name)
        const unread = run.state.waiting.has(frame) && run.state.waiting.get(frame) === undefined
        if (unread) await enqueue({ runId: run.runId, frame, path: path.join(folderOf(run.runId), name) })
      }
    },
  }
}

/** The handler of `read-capture` work: reads the picture in a worker thread and gives the run what was read. */
export function readCaptureHandler(parts: {
  readonly runs: Runs
  readonly read: (task: unknown, signal: AbortSignal) => Promise<unknown>
}): (payload: unknown, signal: AbortSignal) => Promise<unknown> {
  return async (payload, signal) => {
    const { runId, frame, path: file } = payload as ReadWork
    const run = await parts.runs.get(runId)
    try {
      const { reads, ms } = (await parts.read(readTaskOf(run, file), signal)) as ReadOutcome
      await run.pictureRead(frame, reads.map(toReadBody))
      return { reads: reads.length, ms }
    } catch (error) {
      // A picture that can't be decoded is a frame of no-reads: its labels are still answered, and the work shows as dead.
      if (error instanceof Problem && (error.code.startsWith('picture-') || error.code === 'line-schema'))
        await run.pictureRead(frame, [])
      throw error
    }
  }
}

// What a reading thread needs to read one picture of a run.
function readTaskOf(run: Run, file: string): CaptureTask {
  const { frozen, line } = run.state
  const frame = frozen.jobs[0]?.frame
  assert(frame, 'a run opens with at least one job')
  if (!line.camera)
    throw new Problem('line-schema', `the line ${line.line} has no camera; pictures cannot be read`, {
      pointer: '/camera',
    })
  const symbologies = [...new Set(frozen.jobs.flatMap((job) => job.code.symbologies))]
  return { kind: 'capture', path: file, symbologies, frame, camera: line.camera }
}

interface ReadOutcome {
  readonly reads: readonly Parameters<typeof toReadBody>[0][]
  readonly ms: unknown
}

const toReadBody = (read: { cell?: number; lane?: number; text?: string; symbology?: string; quality?: number }) => ({
  ...(read.cell !== undefined ? { cell: read.cell } : {}),
  ...(read.lane !== undefined ? { lane: read.lane } : {}),
  ...(read.text !== undefined ? { text: read.text } : {}),
  ...(read.symbology !== undefined ? { symbology: read.symbology } : {}),
  ...(read.quality !== undefined ? { qualityPpm: Math.round(read.quality * 1e6) } : {}),
})
