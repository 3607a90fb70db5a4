// The watched folder: what is dropped into it is published, or refused with its findings. Events of the file system only hint that
// a look is worth while; regular looks at everything are the authority, since events get lost.
import { lstat, readdir, rename, rm } from 'node:fs/promises'
import { join } from 'node:path'
import { type FSWatcher, watch } from 'chokidar'
import type { Clock, RandomBytes } from '../kernel/clock.ts'
import { type ProblemCode, type ProblemDetails, problemTable } from '../kernel/problem.ts'
import type { WorkItem, WorkQueue } from '../queue/port.ts'
import { type Arrival, openArrival } from './drop-arrival.ts'
import { type DropListing, listDrop } from './drop-listing.ts'
import type { PackageThreads } from './package-check.ts'
import type { Published } from './publish.ts'
import { publishOrder } from './publish-work.ts'
import { finishRefusals, moveToRefused } from './refusal.ts'

/** What became of a drop, or what hinders the watching. */
export type WatchedEvent =
  | { readonly event: 'published'; readonly name: string; readonly published: Published }
  | { readonly event: 'refused'; readonly name: string; readonly folder: string; readonly problem: ProblemDetails }
  /** The drop stays where it is; it is judged again when it changes or at the next start. */
  | { readonly event: 'left'; readonly name: string; readonly problem: ProblemDetails }
  | { readonly event: 'trouble'; readonly message: string }

export interface WatchedFolderOptions {
  readonly intake: string
  readonly refused: string
  readonly queue: Pick<WorkQueue, 'enqueue' | 'ended' | 'requeue'>
  readonly threads: PackageThreads
  readonly clock: Clock
  readonly random: RandomBytes
  /** Pause between looks; default 3,000. 0 looks only when `scan` is called. */
  readonly intervalMs?: number
  /** How long an incomplete drop must rest before it is judged as it stands; default 30,000. */
  readonly settleMs?: number
  /** Whether to listen for events between looks; default true. Network shares give none. */
  readonly listen?: boolean
  readonly report?: (event: WatchedEvent) => void
}

export interface WatchedFolder {
  /** Looks at everything once. Judging goes on behind; `settled` waits for it. */
  scan(): Promise<void>
  /** Resolves when no drop is being judged. */
  settled(): Promise<void>
  /** Completes what a crash left, looks, and then goes on looking. */
  start(): Promise<void>
  close(): Promise<void>
}

const by = 'watched folder'
const intervalMsDefault = 3_000
const settleMsDefault = 30_000
/** Pause before the second look at something new. */
const soonMs = 500
const donePrefix = '.done-'

const isIgnored = (name: string): boolean => name.startsWith('.') || /\.(part|tmp)$/i.test(name)

interface Drop {
  readonly arrival: Arrival
  listing: DropListing
  changedAtMs: number
  judging: boolean
  /** Listing that was judged and left in place. */
  leftPrint?: string
}

class FolderWatch implements WatchedFolder {
  readonly #options: WatchedFolderOptions
  readonly #intervalMs: number
  readonly #settleMs: number
  readonly #drops = new Map<string, Drop>()
  readonly #judgements = new Set<Promise<void>>()
  readonly #stop = new AbortController()
  #timer: NodeJS.Timeout | undefined
  #timerDueMs = Number.POSITIVE_INFINITY
  #scanning: Promise<void> | undefined
  #watcher: FSWatcher | undefined

  constructor(options: WatchedFolderOptions) {
    this.#options = options
    this.#intervalMs = options.intervalMs ?? intervalMsDefault
    this.#settleMs = options.settleMs ?? settleMsDefault
  }

  async scan(): Promise<void> {
    // A look that began before now may have passed what is new by; so wait for it and look again.
    while (this.#scanning) await this.#scanning
    this.#scanning = this.#look().finally(() => {
      this.#scanning = undefined
    })
    return this.#scanning
  }

  async settled(): Promise<void> {
    while (this.#judgements.size > 0) await Promise.all(this.#judgements)
  }

  async start(): Promise<void> {
    const { intake, refused, listen = true } = this.#options
    await finishRefusals(refused)
    for (const name of await readdir(intake)) {
      if (name.startsWith(donePrefix)) await rm(join(intake, name), { recursive: true, force: true })
    }
    if (listen) this.#listen()
    await this.scan()
    this.#schedule(this.#intervalMs)
  }

  async close(): Promise<void> {
    this.#stop.abort(new Error('the watched folder is closed'))
    clearTimeout(this.#timer)
    await this.#watcher?.close()
    await this.#scanning?.catch(() => undefined)
    await Promise.all(this.#judgements)
  }

  #report(event: WatchedEvent): void {
    this.#options.report?.(event)
  }

  #trouble(error: unknown): void {
    this.#report({ event: 'trouble', message: error instanceof Error ? error.message : String(error) })
  }

  async #look(): Promise<void> {
    const names = (await readdir(this.#options.intake)).filter((name) => !isIgnored(name)).sort()
    for (const [name, drop] of this.#drops) if (!names.includes(name) && !drop.judging) this.#drops.delete(name)
    let isSoon = false
    for (const name of names) {
      if (this.#stop.signal.aborted) return
      try {
        isSoon = (await this.#lookAt(name)) || isSoon
      } catch (error) {
        this.#trouble(error)
      }
    }
    if (isSoon) this.#schedule(Math.min(soonMs, this.#intervalMs))
  }

  // Judges a drop that is ready. Returns whether it is changing, so that a look soon is worth while.
  async #lookAt(name: string): Promise<boolean> {
    const known = this.#drops.get(name)
    if (known?.judging) return false
    const path = join(this.#options.intake, name)
    const listing = await listDrop(path)
    if (!listing) return false
    const nowMs = this.#options.clock.monotonicMs()
    const previous = known?.listing
    const isChanged = previous?.print !== listing.print
    const drop = known ?? {
      arrival: openArrival(path, this.#options.threads),
      listing,
      changedAtMs: nowMs,
      judging: false,
    }
    drop.listing = listing
    if (isChanged) drop.changedAtMs = nowMs
    this.#drops.set(name, drop)
    if (drop.leftPrint === listing.print) return false
    const isRested = nowMs - drop.changedAtMs >= this.#settleMs
    if (isRested || (await drop.arrival.isWhole(listing, previous))) this.#beginJudging(name, drop)
    return isChanged
  }

  #beginJudging(name: string, drop: Drop): void {
    drop.judging = true
    const judgement = this.#judge(name, drop)
      .catch((error) => {
        if (!this.#stop.signal.aborted) this.#trouble(error)
      })
      .finally(() => {
        drop.judging = false
        this.#judgements.delete(judgement)
      })
    this.#judgements.add(judgement)
  }

  async #judge(name: string, drop: Drop): Promise<void> {
    const { intake, queue } = this.#options
    const { print } = drop.listing
    const order = publishOrder({ path: join(intake, name), by, identity: print })
    const { state } = await queue.enqueue(order)
    // The same bytes were refused before and lie here again: a person wants another try.
    if (state === 'dead' || state === 'cancelled') await queue.requeue(order.id)
    const item = await queue.ended(order.id, this.#stop.signal)
    // Changed meanwhile: it is another drop by now, and the next look sees to it.
    if ((await listDrop(join(intake, name)))?.print !== print) return
    if (item.state === 'done') {
      await this.#removePublished(name, print)
      this.#drops.delete(name)
      this.#report({ event: 'published', name, published: item.result as Published })
    } else await this.#refuse(name, drop, item)
  }

  async #refuse(name: string, drop: Drop, item: WorkItem): Promise<void> {
    const { intake, refused, clock } = this.#options
    const problem = item.error as ProblemDetails
    const code: ProblemCode = problem.code
    // A drop that changed under the reader is still arriving.
    if (code === 'file-changed') drop.changedAtMs = clock.monotonicMs()
    else if (item.state === 'dead' && problemTable[code].retry !== 'later') {
      const folder = await moveToRefused({ intake, refused }, { name, problem })
      this.#drops.delete(name)
      this.#report({ event: 'refused', name, folder, problem })
    } else {
      drop.leftPrint = drop.listing.print
      this.#report({ event: 'left', name, problem })
    }
  }

  async #removePublished(name: string, print: string): Promise<void> {
    const path = join(this.#options.intake, name)
    // Renamed first, so that a crash never leaves half a folder that looks like a bad package.
    const done = join(this.#options.intake, `${donePrefix}${Buffer.from(this.#options.random(8)).toString('hex')}`)
    await rename(path, done)
    const moved = await listDrop(done)
    if (moved?.print === print) return rm(done, { recursive: true, force: true })
    const isTaken = await lstat(path).then(
      () => true,
      () => false,
    )
    if (!isTaken) return rename(done, path)
    const kept = join(this.#options.refused, `${name}-changed-${this.#options.clock.nowMs()}`)
    await rename(done, kept)
    this.#trouble(`${name} changed while it was published; what it changed to is kept in ${kept}`)
  }

  #schedule(delayMs: number): void {
    const dueMs = this.#options.clock.monotonicMs() + delayMs
    if (this.#intervalMs === 0 || this.#stop.signal.aborted || dueMs >= this.#timerDueMs) return
    clearTimeout(this.#timer)
    this.#timerDueMs = dueMs
    this.#timer = setTimeout(() => this.#tick(), delayMs)
  }

  async #tick(): Promise<void> {
    this.#timerDueMs = Number.POSITIVE_INFINITY
    await this.scan().catch((error) => this.#trouble(error))
    this.#schedule(this.#intervalMs)
  }

  #listen(): void {
    const { intake } = this.#options
    const ignored = (path: string): boolean => isIgnored(path.slice(intake.length + 1))
    const watcher = watch(intake, { depth: 1, ignoreInitial: true, ignored })
    watcher.on('all', () => this.#schedule(soonMs / 5))
    watcher.on('error', (error) => {
      const code = (error as NodeJS.ErrnoException).code
      this.#trouble(`watching ${intake} failed (${code ?? String(error)}); regular looks go on`)
      // No more watches are to be had: holding on to some helps nobody.
      if (code === 'ENOSPC' || code === 'EMFILE') void watcher.close()
    })
    this.#watcher = watcher
  }
}

/** Opens a watch over `intake`. Every step is redone after a crash; none publishes by halves. */
export const openWatchedFolder = (options: WatchedFolderOptions): WatchedFolder => new FolderWatch(options)
