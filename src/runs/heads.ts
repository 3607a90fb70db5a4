// The heads that a run's commits left, oldest first, and the one that an entry became durable under.
import { Problem } from '../kernel/problem.ts'
import type { LedgerHead } from '../storage/port.ts'

/** The first head whose tree holds the entry. Problem `label-not-answered` for an entry that is not durable. */
export function headOver(heads: readonly LedgerHead[], index: number): LedgerHead {
  let low = 0
  let high = heads.length - 1
  while (low < high) {
    const middle = (low + high) >> 1
    if ((heads[middle]?.treeSize ?? 0) > index) high = middle
    else low = middle + 1
  }
  const head = heads[low]
  if (!head || head.treeSize <= index) throw new Problem('label-not-answered', `entry ${index} is not durable`)
  return head
}
