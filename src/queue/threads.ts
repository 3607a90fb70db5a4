// A pool of worker threads for CPU work, on piscina. Its own gate holds tasks back until a thread is free for them, so that a time
// limit counts from when a task can run, and no task waits inside the pool for a thread that failed to come up.
import { Piscina } from 'piscina'
import { Problem } from '../kernel/problem.ts'
import type { ThreadMessage } from './thread-entry.ts'
import { type ThreadReply, unpackReply } from './thread-problem.ts'

const timeoutMsDefault = 120_000
const heapMbMaxDefault = 1_024

/** What may be handed over to a thread instead of being copied. */
type Transfer = readonly ArrayBuffer[]

export interface ThreadsOptions {
  /** Module whose default export does one task: `(task) => Promise<result>`. `.ts` where tsx is installed, else `.js`. */
  readonly script: URL
  /** Threads at most, and so tasks at a time. */
  readonly count: number
  /** Added to the environment of this process. */
  readonly env?: Readonly<Record<string, string>>
  /** A task that takes longer is ended with its thread; default 120,000. */
  readonly timeoutMs?: number
  /** JavaScript heap of one thread; default 1024. Wasm memory and native buffers are not counted. */
  readonly heapMbMax?: number
}

export interface Threads {
  /**
   * Runs a task in a free thread, in the order asked. A `Problem` thrown there is thrown here; anything else is an `Error`. Problem
   * `internal` (a retry may help) when the thread dies or the time is over. On abort the thread is ended and the signal's
   * reason thrown. Task and result are structured clones.
   */
  run(task: unknown, options?: { readonly signal?: AbortSignal; readonly transfer?: Transfer }): Promise<unknown>
  /** Starts all threads and resolves once each has loaded the script. Without it they start with the first tasks. */
  warm(): Promise<void>
  /** Ends all threads, whatever they do; unfinished tasks fail. */
  close(): Promise<void>
}

/** Under tsx a worker thread has no TypeScript loader of its own: register it there. */
function execArgvOf(script: URL): { execArgv?: string[] } {
  if (!script.pathname.endsWith('.ts')) return {}
  const api = import.meta.resolve('tsx/esm/api')
  const register = `import { register } from ${JSON.stringify(api)}; register()`
  return { execArgv: ['--import', `data:text/javascript,${encodeURIComponent(register)}`] }
}

const entryUrl = () =>
  new URL(import.meta.url.endsWith('.ts') ? './thread-entry.ts' : './thread-entry.js', import.meta.url)

function openPool({ script, count, env, heapMbMax }: ThreadsOptions): Piscina<ThreadMessage, ThreadReply> {
  return new Piscina({
    filename: entryUrl().href,
    name: 'perform',
    minThreads: 0,
    maxThreads: count,
    idleTimeout: Number.POSITIVE_INFINITY,
    workerData: { script: script.href },
    resourceLimits: { maxOldGenerationSizeMb: heapMbMax ?? heapMbMaxDefault },
    ...(env === undefined ? {} : { env: { ...process.env, ...env } }),
    ...execArgvOf(script),
  })
}

/** Lets `count` through at a time, in order. */
function createGate(count: number) {
  let idle = count
  const waiting: (() => void)[] = []
  return {
    async enter(signal: AbortSignal | undefined): Promise<void> {
      if (idle > 0) {
        idle -= 1
        return
      }
      await new Promise<void>((resolve, reject) => {
        const pass = () => {
          signal?.removeEventListener('abort', stop)
          resolve()
        }
        const stop = () => {
          waiting.splice(waiting.indexOf(pass), 1)
          reject(signal?.reason)
        }
        waiting.push(pass)
        signal?.addEventListener('abort', stop, { once: true })
      })
    },
    leave(): void {
      const next = waiting.shift()
      if (next === undefined) idle += 1
      else next()
    },
  }
}

const closedProblem = () => new Problem('shutting-down', 'the threads are closed')

const threadDied = (error: unknown) => new Problem('internal', `a worker thread died: ${String(error)}`)

/** Hands messages to the pool, each under a time limit; `stopAll` ends those under way with their threads. */
function createRunner(pool: Piscina<ThreadMessage, ThreadReply>, timeoutMs: number) {
  const stops = new Set<AbortController>()
  const tooLong = () => new Problem('internal', `a task took longer than ${timeoutMs} ms`, { limit: timeoutMs })
  return {
    stopAll(reason: unknown): void {
      for (const stop of stops) stop.abort(reason)
    },
    async run(message: ThreadMessage, signal: AbortSignal | undefined, transfer: Transfer): Promise<ThreadReply> {
      signal?.throwIfAborted()
      const stop = new AbortController()
      const pass = () => stop.abort(signal?.reason)
      const timer = setTimeout(() => stop.abort(tooLong()), timeoutMs)
      signal?.addEventListener('abort', pass, { once: true })
      stops.add(stop)
      try {
        return await pool.run(message, { signal: stop.signal, transferList: [...transfer] })
      } catch (error) {
        throw stop.signal.aborted ? stop.signal.reason : threadDied(error)
      } finally {
        stops.delete(stop)
        signal?.removeEventListener('abort', pass)
        clearTimeout(timer)
      }
    },
  }
}

export function openThreads(options: ThreadsOptions): Threads {
  const { count, timeoutMs = timeoutMsDefault } = options
  const pool = openPool(options)
  const gate = createGate(count)
  const runner = createRunner(pool, timeoutMs)
  let closed = false
  let warmed: Promise<void> | undefined
  // A thread failed before it took a task: whose task it would have been isn't known.
  pool.on('error', (error) => runner.stopAll(threadDied(error)))

  const send = async (message: ThreadMessage, signal?: AbortSignal, transfer: Transfer = []): Promise<unknown> => {
    signal?.throwIfAborted()
    await gate.enter(signal)
    try {
      if (closed) throw closedProblem()
      return unpackReply(await runner.run(message, signal, transfer))
    } finally {
      gate.leave()
    }
  }
  const warm = async () => {
    const met = new Int32Array(new SharedArrayBuffer(4))
    await Promise.all(Array.from({ length: count }, () => send({ meet: { met, count } })))
  }
  return {
    run: (task, { signal, transfer } = {}) => send({ task }, signal, transfer),
    warm() {
      // Two meetings at once would each hold threads that the other waits for.
      warmed ??= warm().finally(() => {
        warmed = undefined
      })
      return warmed
    },
    async close() {
      closed = true
      runner.stopAll(closedProblem())
      await pool.destroy()
    },
  }
}
