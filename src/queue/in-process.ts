// The work queue of one process: durable in the database's `work` table, handed out from here. A piece of work costs two writes
// beyond its enqueueing, the claim and the end, and those of many pieces share commits.
import { assert } from '../kernel/assert.ts'
import { type Clock, type RandomBytes, systemRandom } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database } from '../storage/index.ts'
import { type Alarm, createAlarm, type StartTimer, systemTimer } from './alarm.ts'
import { attempt, cancelledText, crashedText, type Interruption, toEnding } from './attempt.ts'
import { createGroupCommit, type GroupCommit } from './group-commit.ts'
import type { WorkContext, WorkHandler, WorkItem, WorkOrder, WorkQueue, WorkState } from './port.ts'
import { createWaiters } from './waiters.ts'
import {
  addWork,
  cancelWork,
  claimWork,
  countWork,
  type Ending,
  endWork,
  findWork,
  hasEnded,
  listWork,
  nextDueMs,
  noteProgress,
  type Progress,
  requeueWork,
  reviveWork,
  sweepWork,
  toItem,
  type WorkRow,
} from './work-table.ts'

const pauseMsFirst = 500
const pauseMsMax = 60_000
const progressEveryMs = 500
const doneKept = 1_000
const endsPerSweep = 100
/** After a write failed, such as on a full disk. */
const troublePauseMs = 1_000

/** Where the work of one kind is handed out. */
interface Desk {
  readonly kind: string
  readonly concurrency: number
  readonly handler: WorkHandler
  running: number
  /** Whether due work of this kind may wait; spares looking for it when it is known that none does. */
  mayWait: boolean
  /** The claim under way. */
  claim: Promise<void> | undefined
  endsUnswept: number
}

interface Running {
  readonly controller: AbortController
  interruption: Interruption
  progress: Progress
  progressNotedMs: number
}

export interface InProcessQueueOptions {
  readonly database: Pick<Database, 'catalogue'>
  readonly clock: Clock
  /** For the spread of pauses. */
  readonly random?: RandomBytes
  /** Pause after the failed try of this number, from 1. Default: 0.5 s, doubled with each, spread by ±20 %, at most 60 s. */
  readonly pauseMs?: (attempt: number) => number
  readonly startTimer?: StartTimer
  /** Told of writes that failed and will be tried again. */
  readonly report?: (error: unknown) => void
}

const growingPauseMs = (random: RandomBytes) => (attempt: number) => {
  const spread = 0.8 + (0.4 * (random(1)[0] ?? 0)) / 255
  return Math.round(Math.min(pauseMsFirst * 2 ** (attempt - 1) * spread, pauseMsMax))
}

class InProcessQueue implements WorkQueue {
  readonly #catalogue: Database['catalogue']
  readonly #commit: GroupCommit
  readonly #clock: Clock
  readonly #pauseMs: (attempt: number) => number
  readonly #startTimer: StartTimer
  readonly #report: (error: unknown) => void
  readonly #alarm: Alarm
  readonly #waiters = createWaiters()
  readonly #desks = new Map<string, Desk>()
  readonly #running = new Map<string, Running>()
  readonly #underWay = new Set<Promise<void>>()
  #state: 'idle' | 'started' | 'closing' = 'idle'

  constructor(options: InProcessQueueOptions) {
    this.#catalogue = options.database.catalogue
    this.#commit = createGroupCommit(this.#catalogue)
    this.#clock = options.clock
    this.#pauseMs = options.pauseMs ?? growingPauseMs(options.random ?? systemRandom)
    this.#startTimer = options.startTimer ?? systemTimer
    this.#report = options.report ?? (() => undefined)
    this.#alarm = createAlarm({
      clock: options.clock,
      startTimer: this.#startTimer,
      ring: () => this.#watch(this.#lookAtAll()),
    })
  }

  async enqueue(order: WorkOrder): Promise<WorkItem> {
    const row = await this.#commit((catalogue) => addWork(catalogue, order, this.#clock.nowMs()))
    this.#lookAt(row.kind)
    return this.#toItem(row)
  }

  async get(id: string): Promise<WorkItem | undefined> {
    const row = await findWork(this.#catalogue, id)
    return row === undefined ? undefined : this.#toItem(row)
  }

  async list(filter: { state?: WorkState; kind?: string; count: number }): Promise<readonly WorkItem[]> {
    const rows = await listWork(this.#catalogue, filter)
    return rows.map((row) => this.#toItem(row))
  }

  counts(): Promise<Record<WorkState, number>> {
    return countWork(this.#catalogue)
  }

  async ended(id: string, signal?: AbortSignal): Promise<WorkItem> {
    signal?.throwIfAborted()
    const ended = this.#waiters.wait(id, signal)
    const item = await this.get(id)
    if (item === undefined) this.#waiters.dismiss(notFound(id), id)
    else if (hasEnded(item)) this.#waiters.tell(item)
    else if (this.#state === 'closing') this.#waiters.dismiss(closingProblem(), id)
    return ended
  }

  async cancel(id: string): Promise<WorkItem> {
    const row = await this.#cancelIdle(id)
    if (row !== undefined) return this.#announce(row)
    // A claim that was committed meanwhile is in memory once it is through.
    await Promise.all([...this.#desks.values()].map(({ claim }) => claim))
    const running = this.#running.get(id)
    if (running === undefined) throw await this.#refusal(id, 'cancelled')
    running.interruption = 'cancelled'
    running.controller.abort(new Problem('work-state', 'the work was cancelled'))
    return (await this.get(id)) ?? Promise.reject(notFound(id))
  }

  async requeue(id: string): Promise<WorkItem> {
    const row = await this.#commit((catalogue) => requeueWork(catalogue, id))
    if (row === undefined) throw await this.#refusal(id, 'put back')
    this.#lookAt(row.kind)
    return this.#toItem(row)
  }

  handle(kind: string, concurrency: number, handler: WorkHandler): void {
    assert(!this.#desks.has(kind), 'a kind of work has one handler')
    assert(Number.isInteger(concurrency) && concurrency >= 1, 'concurrency is at least 1')
    this.#desks.set(kind, {
      kind,
      concurrency,
      handler,
      running: 0,
      mayWait: true,
      claim: undefined,
      endsUnswept: endsPerSweep,
    })
    this.#lookAt(kind)
  }

  async start(): Promise<void> {
    assert(this.#state === 'idle', 'a queue starts once')
    const nowMs = this.#clock.nowMs()
    const dead = await this.#commit((catalogue) => reviveWork(catalogue, { error: crashedText, nowMs }))
    for (const row of dead) this.#announce(row)
    this.#state = 'started'
    await this.#lookAtAll()
  }

  async close(): Promise<void> {
    this.#state = 'closing'
    this.#alarm.clear()
    for (const running of this.#running.values()) this.#interrupt(running)
    while (this.#underWay.size > 0) await Promise.all(this.#underWay)
    this.#waiters.dismiss(closingProblem())
  }

  /** Hands out what is due of all kinds, and sets the alarm to what is due next. */
  async #lookAtAll(): Promise<void> {
    for (const kind of this.#desks.keys()) this.#lookAt(kind)
    try {
      const dueMs = await nextDueMs(this.#catalogue, this.#clock.nowMs())
      if (dueMs !== undefined) this.#setAlarm(dueMs)
    } catch (error) {
      this.#trouble(error)
    }
  }

  #setAlarm(atMs: number): void {
    if (this.#state === 'started') this.#alarm.set(atMs)
  }

  #trouble(error: unknown): void {
    this.#report(error)
    this.#setAlarm(this.#clock.nowMs() + troublePauseMs)
  }

  #lookAt(kind: string): void {
    const desk = this.#desks.get(kind)
    if (desk === undefined) return
    desk.mayWait = true
    this.#handOut(desk)
  }

  #handOut(desk: Desk): void {
    const idle = desk.concurrency - desk.running
    if (this.#state !== 'started' || desk.claim !== undefined || !desk.mayWait || idle === 0) return
    desk.mayWait = false
    desk.claim = this.#claim(desk, idle).finally(() => {
      desk.claim = undefined
      this.#handOut(desk)
    })
    this.#watch(desk.claim)
  }

  async #claim(desk: Desk, count: number): Promise<void> {
    const { kind } = desk
    try {
      const rows = await this.#commit((catalogue) => claimWork(catalogue, { kind, count, nowMs: this.#clock.nowMs() }))
      if (rows.length === count) desk.mayWait = true
      for (const row of rows) this.#watch(this.#perform(desk, row))
    } catch (error) {
      this.#trouble(error)
    }
  }

  async #perform(desk: Desk, row: WorkRow): Promise<void> {
    const running: Running = {
      controller: new AbortController(),
      interruption: undefined,
      progress: { share: 0, note: '' },
      progressNotedMs: Number.NEGATIVE_INFINITY,
    }
    desk.running += 1
    this.#running.set(row.id, running)
    // Claimed while the queue began to close: a handler that begins with an aborted signal may well miss it.
    if (this.#state === 'closing') this.#interrupt(running)
    const outcome = await (this.#state === 'closing'
      ? { thrown: closingProblem() }
      : attempt(desk.handler, row, this.#context(row, running)))
    const { interruption } = running
    const nowMs = this.#clock.nowMs()
    const ending = toEnding(outcome, { row, interruption, nowMs, pauseMs: this.#pauseMs })
    const recorded = await this.#record(row.id, { ending, progress: running.progress })
    this.#running.delete(row.id)
    desk.running -= 1
    if (recorded !== undefined) await this.#afterwards(desk, recorded, running)
    this.#handOut(desk)
  }

  #context(row: WorkRow, running: Running): WorkContext {
    return {
      id: row.id,
      attempt: row.attempts,
      signal: running.controller.signal,
      progress: (share, note) => {
        running.progress = { share: Math.min(Math.max(share, 0), 1), note }
        if (!this.#running.has(row.id) || this.#clock.monotonicMs() < running.progressNotedMs + progressEveryMs) return
        running.progressNotedMs = this.#clock.monotonicMs()
        const { progress } = running
        this.#watch(this.#commit((catalogue) => noteProgress(catalogue, row.id, progress)))
      },
    }
  }

  /** Tries until it is written; a queue that closes leaves the work as running, and the next start takes it up again. */
  async #record(
    id: string,
    { ending, progress }: { ending: Ending; progress: Progress },
  ): Promise<WorkRow | undefined> {
    const nowMs = this.#clock.nowMs()
    for (;;) {
      try {
        return await this.#commit((catalogue) => endWork(catalogue, id, { ending, progress, nowMs }))
      } catch (error) {
        this.#report(error)
        if (this.#state === 'closing') return undefined
        await new Promise<void>((resume) => this.#startTimer(resume, troublePauseMs))
      }
    }
  }

  async #afterwards(desk: Desk, row: WorkRow, running: Running): Promise<void> {
    // Cancelled after its try had failed: it must not be tried again.
    const undone = row.state === 'waiting' && running.interruption === 'cancelled'
    const last = undone ? ((await this.#cancelIdle(row.id)) ?? row) : row
    if (hasEnded(last)) this.#announce(last)
    else this.#setAlarm(last.dueAtMs)
    if (last.state === 'done') await this.#sweep(desk)
  }

  async #sweep(desk: Desk): Promise<void> {
    desk.endsUnswept += 1
    if (desk.endsUnswept < endsPerSweep) return
    desk.endsUnswept = 0
    const { kind } = desk
    await this.#commit((catalogue) => sweepWork(catalogue, { kind, keep: doneKept })).catch(this.#report)
  }

  /** Cancels work that no handler is busy with. */
  #cancelIdle(id: string): Promise<WorkRow | undefined> {
    const states: readonly WorkState[] = this.#state === 'idle' ? ['waiting', 'running'] : ['waiting']
    const nowMs = this.#clock.nowMs()
    return this.#commit((catalogue) => cancelWork(catalogue, id, { states, error: cancelledText, nowMs }))
  }

  #interrupt(running: Running): void {
    running.interruption ??= 'closing'
    running.controller.abort(closingProblem())
  }

  #announce(row: WorkRow): WorkItem {
    const item = toItem(row)
    this.#waiters.tell(item)
    return item
  }

  #toItem(row: WorkRow): WorkItem {
    return toItem(row, row.state === 'running' ? this.#running.get(row.id)?.progress : undefined)
  }

  async #refusal(id: string, act: string): Promise<Problem> {
    const row = await findWork(this.#catalogue, id)
    if (row === undefined) return notFound(id)
    return new Problem('work-state', `the work is ${row.state} and cannot be ${act}`, { measured: row.state })
  }

  /** Lets `close` wait for what is under way. */
  #watch(promise: Promise<void>): void {
    const watched = promise.catch(this.#report).finally(() => this.#underWay.delete(watched))
    this.#underWay.add(watched)
  }
}

const notFound = (id: string) => new Problem('work-not-found', `no work ${id}`)
const closingProblem = () => new Problem('shutting-down', 'the work queue is closing')

/** Opens the queue on the database's `work` table. At most one per database: the table's running work is this queue's. */
export function openInProcessQueue(options: InProcessQueueOptions): WorkQueue {
  return new InProcessQueue(options)
}
