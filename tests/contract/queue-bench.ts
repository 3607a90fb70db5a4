// A queue of one adapter for each test, on a folder of its own, and the handlers that many tests use.
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach } from 'vitest'
import type { WorkContext, WorkQueue } from '../../src/queue/index.ts'
import type { OpenQueue, QueueAdapter } from './queue-adapters.ts'

export interface QueueBench {
  readonly where: string
  readonly queue: WorkQueue
  reopen(): Promise<void>
}

/** Registers the opening and closing around each test of the describe that calls it. */
export function benchOf(adapter: QueueAdapter): QueueBench {
  let where = ''
  let opened: OpenQueue
  beforeEach(async () => {
    where = await mkdtemp(join(tmpdir(), 'rollcall-queue-'))
    opened = await adapter.open(where)
  })
  afterEach(async () => {
    await opened.dispose()
    await rm(where, { recursive: true })
  })
  return {
    get where() {
      return where
    },
    get queue() {
      return opened.queue
    },
    async reopen() {
      await opened.dispose()
      opened = await adapter.open(where)
    },
  }
}

/** A promise that the test settles. */
export function gate(): { readonly passed: Promise<void>; open(): void } {
  let open = () => {}
  const passed = new Promise<void>((resolve) => {
    open = resolve
  })
  return { passed, open: () => open() }
}

/** Never returns by itself, and fails when it is told to end. Misses a signal that was aborted before it began. */
export const untilAborted = ({ signal }: WorkContext): Promise<never> =>
  new Promise((_, reject) => {
    signal.addEventListener('abort', () => reject(signal.reason), { once: true })
  })

export const orders = (count: number, kind = 'note') =>
  Array.from({ length: count }, (_, i) => ({ id: `piece-${String(i).padStart(4, '0')}`, kind, payload: i }))
