// The work queue port: durable work with deterministic ids, on the database (in-process) and, later, on BullMQ.

export const workStates = ['waiting', 'running', 'done', 'dead', 'cancelled'] as const
export type WorkState = (typeof workStates)[number]

/**
 * Work to be done. The same `id` enqueued again is the same work: nothing is added while it waits, runs or is done; dead or cancelled
 * work is put back with fresh tries and the payload given.
 */
export interface WorkOrder {
  readonly id: string
  readonly kind: string
  readonly payload: unknown
  /** Smaller goes first; default 10. Reading for a running line is 0, previews are 20. */
  readonly priority?: number
  /** Tries before the work is dead; default 5. */
  readonly attemptsMax?: number
}

export interface WorkItem {
  readonly id: string
  readonly kind: string
  readonly state: WorkState
  readonly priority: number
  readonly attempts: number
  readonly attemptsMax: number
  /** 0 to 1. */
  readonly progress: number
  readonly progressNote: string
  readonly payload: unknown
  readonly result?: unknown
  /** Problem details (RFC 9457) of the last failed try. */
  readonly error?: unknown
  readonly createdAtMs: number
  readonly endedAtMs?: number
}

export interface WorkContext {
  readonly id: string
  /** From 1. */
  readonly attempt: number
  /** Aborted when the work is cancelled or the queue closes. */
  readonly signal: AbortSignal
  progress(share: number, note: string): void
}

/**
 * Does one piece of work and returns its result (JSON). A thrown `Problem` whose retry is not `later` is final: the work is dead at
 * once. Anything else thrown is tried again after a growing pause. Work may run twice (a crash after the work and before its
 * end was recorded), so a handler MUST be idempotent.
 */
export type WorkHandler = (payload: unknown, context: WorkContext) => Promise<unknown>

export interface WorkQueue {
  /** Durable when it resolves. Returns the work as it now stands. */
  enqueue(order: WorkOrder): Promise<WorkItem>
  get(id: string): Promise<WorkItem | undefined>
  /** Newest first. */
  list(filter: { state?: WorkState; kind?: string; count: number }): Promise<readonly WorkItem[]>
  counts(): Promise<Record<WorkState, number>>
  /**
   * Resolves when the work is done, dead or cancelled. Rejects with the signal's reason when that comes first, with `shutting-down`
   * when the queue closes before, and with `work-not-found`. Of what is done, only the last 1,000 of each kind are kept.
   */
  ended(id: string, signal?: AbortSignal): Promise<WorkItem>
  /** Waiting work is cancelled at once, running work when its handler heeds the signal. Problem `work-state` once it ended. */
  cancel(id: string): Promise<WorkItem>
  /** Puts dead or cancelled work back with fresh tries; `work-state` otherwise. */
  requeue(id: string): Promise<WorkItem>
  /** Registers the one handler of a kind, run at most `concurrency` at a time. */
  handle(kind: string, concurrency: number, handler: WorkHandler): void
  /**
   * Begins to hand out work. Work that was running when the process died waits again; where that happened in one try more than it
   * has, it is dead instead, since it may be what kills the process.
   */
  start(): Promise<void>
  /** Stops handing out, aborts what runs, waits for it, and leaves unfinished work, its try not counted, to the next start. */
  close(): Promise<void>
}
