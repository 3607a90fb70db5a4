// The queues that the work queue contract is run on. A new queue adds itself here.
import { systemClock } from '../../src/kernel/clock.ts'
import { openInProcessQueue, type WorkQueue } from '../../src/queue/index.ts'
import { openSqlite } from '../../src/storage/index.ts'

export interface OpenQueue {
  readonly queue: WorkQueue
  /** Closes the queue and what it stands on. */
  dispose(): Promise<void>
}

export interface QueueAdapter {
  readonly name: string
  /** Opens the queue that lives at a folder's path, the same one each time, with short pauses between tries. */
  open(where: string): Promise<OpenQueue>
}

const inProcess: QueueAdapter = {
  name: 'in-process',
  async open(where) {
    const database = await openSqlite({ folder: where })
    const queue = openInProcessQueue({ database, clock: systemClock, pauseMs: () => 5 })
    return {
      queue,
      async dispose() {
        await queue.close()
        await database.close()
      },
    }
  },
}

export const queueAdapters: readonly QueueAdapter[] = [inProcess]

export function queueAdapterNamed(name: string): QueueAdapter {
  const adapter = queueAdapters.find((each) => each.name === name)
  if (adapter === undefined) throw new Error(`no adapter ${name}`)
  return adapter
}
