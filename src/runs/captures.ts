// Pictures of frames: stored in `captures/<run>/<frame>_<positionUm>.<ext>`, announced to the run, read by queued work. A picture
// that is posted and one that is dropped in the folder take the same way.
import { mkdir, readdir, readFile, rename, rm, stat } from 'node:fs/promises'
import path from 'node:path'
import { sha256Hex } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { limits } from '../kernel/limits.ts'
import { Problem, problemTable } from '../kernel/problem.ts'
import type { WorkQueue } from '../queue/port.ts'
import { whereDiskFills } from '../storage/index.ts'
import {
  type CaptureName,
  captureFileName,
  captureNameOf,
  isComplete,
  isMisnamed,
  isSettled,
  isUnfinished,
  type Looks,
  storeWhole,
} from './capture-files.ts'
import { type ReadWork, readOrder } from './capture-work.ts'
import type { Run } from './run.ts'
import type { FramesOutcome } from './wire.ts'

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
  readonly #looks: Looks = new Map()
  readonly #heldSinceMs = new Map<string, number>()
  readonly #posts = new Map<string, Promise<unknown>>()
  readonly #unqueued = new Map<string, ReadWork>()

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
    if (fresh) this.#unqueued.set(file, { runId: run.runId, frame, path: file })
    await this.#enqueue(run)
    return outcome
  }

  // The frame is recorded by now: what could not be queued, such as on a full disk, is queued with the next picture or look.
  async #enqueue(run: Run): Promise<void> {
    for (const [file, work] of this.#unqueued) {
      if (work.runId !== run.runId) continue
      await this.#parts.queue.enqueue(readOrder(work))
      this.#unqueued.delete(file)
    }
  }

  /** Stores a posted picture and announces its frame. Problems: `wrong-media-type`, `data-full` and those of `Run.capture`. */
  async post(run: Run, picture: Picture): Promise<FramesOutcome> {
    const extension = extensions[picture.mediaType]
    if (!extension) {
      const limit = captureMediaTypes.join(', ')
      throw new Problem('wrong-media-type', `a picture is one of ${limit}`, { measured: picture.mediaType, limit })
    }
    const file = path.join(this.#folderOf(run.runId), captureFileName(picture, extension))
    return this.#inTurn(`${run.runId}/${picture.frame}`, () => this.#store(run, picture, file))
  }

  // Two pictures of one frame at the same time must not mix: the file is the one whose digest is recorded.
  #inTurn<T>(key: string, post: () => Promise<T>): Promise<T> {
    const turn = (this.#posts.get(key) ?? Promise.resolve()).then(post, post)
    this.#posts.set(key, turn)
    const done = (): void => {
      if (this.#posts.get(key) === turn) this.#posts.delete(key)
    }
    turn.then(done, done)
    return turn
  }

  async #store(run: Run, picture: Picture, file: string): Promise<FramesOutcome> {
    const isKnown = run.state.frames.has(picture.frame)
    if (!isKnown) {
      await whereDiskFills(() => mkdir(path.dirname(file), { recursive: true }))
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
    await this.#enqueue(run)
    const names = await readdir(this.#folderOf(run.runId)).catch(() => [])
    const refused = await this.#refuseStrays(run, names)
    const found = names
      .flatMap((name) => ({ name, ...(captureNameOf(name) ?? { frame: -1, positionUm: 0 }) }))
      .filter(({ frame }) => frame >= 0 && !run.state.frames.has(frame))
      .toSorted((a, b) => a.frame - b.frame)
    for (const { name, ...at } of found) {
      const file = path.join(this.#folderOf(run.runId), name)
      const nowMs = this.#parts.clock.monotonicMs()
      if (!(await isComplete(file, this.#looks, nowMs)) || this.#isHeldBack(run, at.frame, file)) break
      this.#looks.delete(file)
      this.#heldSinceMs.delete(file)
      try {
        await this.#takeFile(run, at, file)
      } catch (error) {
        if (!(error instanceof Problem)) throw error
        if (error.code === 'run-state' || problemTable[error.code].retry === 'later') break
        refused.push(await this.#refuse(file, error))
      }
    }
    return refused
  }

  // Pictures without frame and position in their names, and those of a frame that was recorded elsewhere on the web.
  async #refuseStrays(run: Run, names: readonly string[]): Promise<RefusedCapture[]> {
    const refused: RefusedCapture[] = []
    for (const name of names) {
      const problem = strayProblem(run, name)
      const file = path.join(this.#folderOf(run.runId), name)
      if (problem && (await isSettled(file, this.#looks, this.#parts.clock.monotonicMs())))
        refused.push(await this.#refuse(file, problem))
    }
    return refused
  }

  async #refuse(file: string, problem: Problem): Promise<RefusedCapture> {
    this.#looks.delete(file)
    await rename(file, `${file}.refused`)
    return { file: path.basename(file), problem }
  }

  /** Queues the reading of pictures that a restart left unread; reading one that is gone answers its labels as no-reads. */
  async resume(run: Run): Promise<void> {
    const folder = this.#folderOf(run.runId)
    const names = await readdir(folder).catch(() => [])
    for (const name of names.filter(isUnfinished)) await rm(path.join(folder, name), { force: true })
    for (const [frame, reads] of run.state.waiting) {
      const { positionUm = 0, capture } = run.state.frames.get(frame) ?? {}
      if (reads !== undefined || capture === undefined) continue
      const name = names.find((candidate) => isNameOf(candidate, { frame, positionUm }))
      const file = path.join(folder, name ?? captureFileName({ frame, positionUm }, 'png'))
      await this.#parts.queue.enqueue(readOrder({ runId: run.runId, frame, path: file }))
    }
  }
}

function isNameOf(name: string, { frame, positionUm }: CaptureName): boolean {
  const named = captureNameOf(name)
  return named?.frame === frame && named.positionUm === positionUm
}

function strayProblem(run: Run, name: string): Problem | undefined {
  if (isMisnamed(name)) {
    return new Problem('capture-name', `${name} is not named <frame>_<position in µm>.png, .jpg or .tif`, {
      file: name,
    })
  }
  const named = captureNameOf(name)
  const known = named && run.state.frames.get(named.frame)
  if (!known || known.positionUm === named.positionUm) return undefined
  return new Problem('frame-conflict', `frame ${named.frame} is recorded at another position`, {
    file: name,
    measured: named.positionUm,
    limit: known.positionUm,
  })
}
