// Writes to the catalogue that are asked for together are committed together: one sync of the disk for all of them.
import type { Kysely } from 'kysely'
import type { Tables } from '../storage/index.ts'

/** Reads and writes within a transaction that others share: a throw fails them all, so a refusal is a result. */
type Write<T> = (transaction: Kysely<Tables>) => Promise<T>

export type GroupCommit = <T>(write: Write<T>) => Promise<T>

interface Pending {
  run(transaction: Kysely<Tables>): Promise<void>
  /** Called once the group is durable. */
  resolve(): void
  reject(error: unknown): void
}

function toPending<T>(
  write: Write<T>,
  { resolve, reject }: { resolve: (value: T) => void; reject: (error: unknown) => void },
): Pending {
  let deliver = () => reject(new Error('invariant broken: resolved before it ran'))
  return {
    async run(transaction) {
      const value = await write(transaction)
      deliver = () => resolve(value)
    },
    resolve: () => deliver(),
    reject,
  }
}

async function commit(catalogue: Kysely<Tables>, group: readonly Pending[]): Promise<void> {
  try {
    await catalogue.transaction().execute(async (transaction) => {
      for (const pending of group) await pending.run(transaction)
    })
  } catch (error) {
    for (const pending of group) pending.reject(error)
    return
  }
  for (const pending of group) pending.resolve()
}

/** Returns a function that runs writes in order, all that wait in one transaction, and resolves each once it is durable. */
export function createGroupCommit(catalogue: Kysely<Tables>): GroupCommit {
  let waiting: Pending[] = []
  let turn: Promise<void> = Promise.resolve()
  const commitWaiting = async () => {
    const group = waiting
    waiting = []
    if (group.length > 0) await commit(catalogue, group)
  }
  return (write) =>
    new Promise((resolve, reject) => {
      waiting.push(toPending(write, { resolve, reject }))
      turn = turn.then(commitWaiting)
    })
}
