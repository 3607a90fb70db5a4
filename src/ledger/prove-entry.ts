// An inclusion proof for one entry of a stored ledger.
import { type Digest, sha256 } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { LedgerHead } from '../storage/port.ts'
import { hashDigest } from './head.ts'
import { createFrontier, leafHash } from './merkle.ts'
import { inclusionRanges, verifyInclusion } from './proofs.ts'
import { ledgerPages } from './read.ts'
import type { StoredLedger } from './rebuild.ts'

/** All hashes in hex. Whoever trusts the root can check the entry's bytes against it with nothing else at hand. */
export interface EntryProof extends LedgerHead {
  readonly index: number
  readonly bytes: Uint8Array
  readonly leaf: Digest
  /** From the leaf upwards (RFC 9162 §2.1.3.1). */
  readonly path: readonly Digest[]
}

/**
 * Proves entry `index` under the last committed head. Reads every stored leaf once, O(n), in flat memory. Problem `not-found` where
 * there is no such entry, `ledger-bad` where entry or leaves are not what the stored root is of.
 */
export async function proveEntry(database: StoredLedger, of: { runId: string; index: number }): Promise<EntryProof> {
  const { runId, index } = of
  const head = await database.ledgerHead(runId)
  if (head === undefined || index < 0 || index >= head.treeSize) {
    throw new Problem('not-found', `run ${runId} has no entry ${index}`)
  }
  const { treeSize: size } = head
  const { bytes, proof } = await gather(database, { runId, index, size })
  const root = Buffer.from(head.root, 'hex')
  // The leaf is hashed anew: the proof is about the bytes, not about what was stored beside them.
  const leaf = bytes && leafHash(sha256, bytes)
  if (bytes === undefined || leaf === undefined || !verifyInclusion(sha256, { leaf, index, size, root, proof })) {
    throw new Problem('ledger-bad', `entry ${index} of run ${runId} does not lie under the stored root`)
  }
  return { ...head, index, bytes, leaf: hashDigest(leaf), path: proof.map(hashDigest) }
}

interface Gathered {
  readonly bytes: Uint8Array | undefined
  readonly proof: readonly Uint8Array[]
}

async function gather(database: StoredLedger, of: { runId: string; index: number; size: number }): Promise<Gathered> {
  const { runId, index, size } = of
  const subtrees = inclusionRanges({ index, size }).map((range) => ({ ...range, frontier: createFrontier(sha256) }))
  let bytes: Uint8Array | undefined
  for await (const page of ledgerPages(database, { runId, to: size })) {
    for (const stored of page) {
      if (stored.index === index) bytes = stored.bytes
      const subtree = subtrees.find(({ from, to }) => stored.index >= from && stored.index < to)
      subtree?.frontier.append(stored.leaf)
    }
  }
  return { bytes, proof: subtrees.map(({ frontier }) => frontier.root()) }
}
