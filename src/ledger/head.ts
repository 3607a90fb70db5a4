// The head of a tree: its size and root, as commits and answers carry them.
import { type Digest, toDigest } from '../kernel/bytes.ts'
import type { LedgerHead } from '../storage/port.ts'
import type { Frontier } from './merkle.ts'

export function headOf(frontier: Frontier): LedgerHead {
  return { treeSize: frontier.size, root: hashDigest(frontier.root()) }
}

export function hashDigest(hash: Uint8Array): Digest {
  return toDigest(Buffer.from(hash).toString('hex'))
}
