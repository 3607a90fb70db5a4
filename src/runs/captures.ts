// Pictures of frames: stored in `captures/<run>/<frame>_<positionUm>.<ext>`, announced to the run, read by queued work. A picture
// that is posted and one that is dropped in the folder take the same way.
import { mkdir, readdir, readFile, rename, rm, stat } from 'node:fs/promises'
import path from 'node:path'
import { sha256Hex } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import type { WorkQueue } from '../queue/port.ts'
import {
  type CaptureName,
  captureFileName,
  captureNameOf,
  isComplete,
  type SeenSizes,
  storeWhole,
} from './capture-files.ts'
import { readOrder } from './capture-work.ts'
import type { FramesOutcome, Run } from './run.ts'

const extensions: Readonly<Record<string, string>> = { 'image/png': 'png', 'image/jpeg': 'jpg', 'image/tiff': 'tif' }

/** Media types of a posted picture. */
export const captureMediaTypes = Object.keys(extensions)

/** How long a picture waits for those of the frames before it, ms. */
const holdMs = 500

export interface RefusedCapture {
  readonly file: string
  readonly problem: Problem
}

interface CaptureParts {
  readonly folder: string
  readonly queue: Pick<WorkQueue, 'enqueue'>
  readonly clock: Clock
}

type Picture = CaptureName & { readonly bytes: Uint8Array; readonly mediaType: string }

/** The captures of all runs under one folder. */
export class Captures {
  readonly #parts: CaptureParts
  readonly #sizes: SeenSizes = new Map()
  readonly #heldSinceMs = new Map<string, number>()

  constructor(parts: CaptureParts) {
    this.#parts = parts
  }

  #folderOf(runId: string): string {
    return path.join(this.#parts.folder, runId)
  }

  async #announce(
    run: Run,
    { frame, positionUm }: CaptureName,
    file: string,
    bytes: Uint8Array,
  ): Promise<FramesOutcome> {
    const at = { frame, positionMm: positionUm / 1000, digest: sha256Hex(bytes) }
    const { fresh, ...outcome } = await run.capture(at)
    if (fresh) await this.#parts.queue.enqueue(readOrder({ runId: run.runId, frame, path: file }))
    return outcome
  }

  /** Stores a posted picture and announces its frame. Problems: `wrong-media-type`, `data-full` and those of `Run.capture`. */
  async post(run: Run, picture: Picture): Promise<FramesOutcome> {
    const extension = extensions[picture.mediaType]
    if (!extension) {
      const limit = captureMediaTypes.join(', ')
      throw new Problem('wrong-media-type', `a picture is one of ${limit}`, { measured: picture.mediaType, limit })
    }
    const file = path.join(this.#folderOf(run.runId), captureFileName(picture, extension))
    const isKnown = run.state.frames.has(picture.frame)
    if (!isKnown) {
      await mkdir(path.dirname(file), { recursive: true })
      await storeWhole(file, picture.bytes)
    }
    try {
      return await this.#announce(run, picture, file, picture.bytes)
    } catch (error) {
      if (!isKnown && !run.state.frames.has(picture.frame)) await rm(file, { force: true })
      throw error
    }
  }

  // A frame that follows a gap is held back a little: the pictures before it may still be on their way.
  #isHeldBack(run: Run, frame: number, file: string): boolean {
    if (frame <= run.state.lastFrame + 1) return false
    const now = this.#parts.clock.monotonicMs()
    const since = this.#heldSinceMs.get(file) ?? now
    this.#heldSinceMs.set(file, since)
    return now - since < holdMs
  }

  async #takeFile(run: Run, name: CaptureName, file: string): Promise<void> {
    const { size } = await stat(file)
    if (size > limits.captureBytesMax) {
      throw new Problem('picture-too-large', `${path.basename(file)} is too large`, {
        file: path.basename(file),
        measured: size,
        limit: limits.captureBytesMax,
      })
    }
    await this.#announce(run, name, file, await readFile(file))
  }

  /**
   * Announces the complete pictures in a run's folder that it doesn't know yet, in order of frames. The first one that is still being
   * written, or waits for those before it, holds back the rest. A refused one gets the suffix `.refused`.
   */
  async take(run: Run): Promise<readonly RefusedCapture[]> {
    const refused: RefusedCapture[] = []
    const names = await readdir(this.#folderOf(run.runId)).catch(() => [])
    const found = names
      .flatMap((name) => ({ name, ...(captureNameOf(name) ?? { frame: -1, positionUm: 0 }) }))
      .filter(({ frame }) => frame >= 0 && !run.state.frames.has(frame))
      .toSorted((a, b) => a.frame - b.frame)
    for (const { name, ...at } of found) {
      const file = path.join(this.#folderOf(run.runId), name)
      if (!(await isComplete(file, this.#sizes)) || this.#isHeldBack(run, at.frame, file)) break
      this.#sizes.delete(file)
      this.#heldSinceMs.delete(file)
      try {
        await this.#takeFile(run, at, file)
      } catch (error) {
        if (!(error instanceof Problem)) throw error
        if (['run-state', 'ledger-unavailable', 'data-full'].includes(error.code)) break
        await rename(file, `${file}.refused`)
        refused.push({ file: name, problem: error })
      }
    }
    return refused
  }

  /** Queues the reading of pictures that a restart left unread. */
  async resume(run: Run): Promise<void> {
    const names = await readdir(this.#folderOf(run.runId)).catch(() => [])
    for (const name of names) {
      const frame = captureNameOf(name)?.frame
      if (frame === undefined || !run.state.waiting.has(frame) || run.state.waiting.get(frame) !== undefined) continue
      const file = path.join(this.#folderOf(run.runId), name)
      await this.#parts.queue.enqueue(readOrder({ runId: run.runId, frame, path: file }))
    }
  }
}
