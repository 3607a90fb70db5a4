// What runs first in each thread of a pool: it loads the pool's script once, and packs what the script's task returns or throws.
import { workerData } from 'node:worker_threads'
import { packError, type ThreadReply } from './thread-problem.ts'

/** A task for the script, or the wish to see all threads of the pool up. */
export type ThreadMessage =
  | { readonly task: unknown }
  | { readonly meet: { readonly met: Int32Array; readonly count: number } }

type Task = (task: unknown) => Promise<unknown>

/** Before the thread counts as ready, so that a warm pool has its scripts set up. */
async function loadScript(): Promise<Task> {
  const { default: task }: { default?: unknown } = await import(String(workerData.script))
  if (typeof task !== 'function') throw new Error(`${workerData.script} has no default export to call`)
  return task as Task
}

const loaded: { task: Task } | { failure: unknown } = await loadScript().then(
  (task) => ({ task }),
  (failure: unknown) => ({ failure }),
)

/** Holds the thread until `count` threads are here, so that each of them has loaded the script. */
function meet({ met, count }: { readonly met: Int32Array; readonly count: number }): void {
  Atomics.add(met, 0, 1)
  Atomics.notify(met, 0)
  for (let here = Atomics.load(met, 0); here < count; here = Atomics.load(met, 0)) Atomics.wait(met, 0, here)
}

/** @public Called by the pool, by its name. */
export async function perform(message: ThreadMessage): Promise<ThreadReply> {
  try {
    if ('failure' in loaded) throw loaded.failure
    if ('task' in message) return { result: await loaded.task(message.task) }
    meet(message.meet)
    return { result: undefined }
  } catch (error) {
    return packError(error)
  }
}
