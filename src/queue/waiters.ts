// Those who wait for the end of a piece of work, in memory.
import type { WorkItem } from './port.ts'

interface Waiter {
  resolve(item: WorkItem): void
  reject(reason: unknown): void
}

export interface Waiters {
  /** Rejects with the signal's reason should that come first. */
  wait(id: string, signal?: AbortSignal): Promise<WorkItem>
  tell(item: WorkItem): void
  /** Rejects those who wait for `id`, or all. */
  dismiss(reason: unknown, id?: string): void
}

export function createWaiters(): Waiters {
  const waiting = new Map<string, Set<Waiter>>()
  const take = (id: string): Iterable<Waiter> => {
    const waiters = waiting.get(id) ?? []
    waiting.delete(id)
    return waiters
  }
  const join = (id: string, waiter: Waiter) => {
    waiting.set(id, (waiting.get(id) ?? new Set()).add(waiter))
  }
  const leave = (id: string, waiter: Waiter) => {
    const others = waiting.get(id)
    others?.delete(waiter)
    if (others?.size === 0) waiting.delete(id)
  }
  return {
    wait(id, signal) {
      const ended = new Promise<WorkItem>((resolve, reject) => {
        const stop = () => {
          leave(id, waiter)
          reject(signal?.reason)
        }
        const settled =
          <T>(settle: (value: T) => void) =>
          (value: T) => {
            signal?.removeEventListener('abort', stop)
            settle(value)
          }
        const waiter: Waiter = { resolve: settled(resolve), reject: settled(reject) }
        join(id, waiter)
        signal?.addEventListener('abort', stop, { once: true })
      })
      // Whoever asked may be busy with something else when it rejects.
      ended.catch(() => undefined)
      return ended
    },
    tell(item) {
      for (const waiter of take(item.id)) waiter.resolve(item)
    },
    dismiss(reason, id) {
      for (const each of id === undefined ? [...waiting.keys()] : [id]) {
        for (const waiter of take(each)) waiter.reject(reason)
      }
    },
  }
}
