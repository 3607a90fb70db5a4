// The frontier of a run's tree, rebuilt from what is stored, with every leaf and the last head checked on the way.
import { sha256 } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database, LedgerRow } from '../storage/port.ts'
import { headOf } from './head.ts'
import { createFrontier, equalHashes, type Frontier, leafHash } from './merkle.ts'
import { ledgerPages } from './read.ts'

/** The part of the database port that reading a ledger needs. */
export type StoredLedger = Pick<Database, 'readLedger' | 'ledgerHead'>

/**
 * Reads all committed entries of a run: O(n), about two hashes an entry. Problem `ledger-bad`, naming the index, where a stored
 * leaf is not the hash of its bytes, where an entry is missing, or where the tree is not the one that the last commit left.
 */
export async function rebuildFrontier(database: StoredLedger, runId: string): Promise<Frontier> {
  const frontier = createFrontier(sha256)
  for await (const rows of ledgerPages(database, { runId })) {
    for (const row of rows) appendChecked(frontier, { runId, row })
  }
  await checkHead(database, { runId, frontier })
  return frontier
}

function appendChecked(frontier: Frontier, stored: { runId: string; row: LedgerRow }): void {
  const { runId, row } = stored
  const index = frontier.size
  if (row.index !== index) throw bad(index, `run ${runId}: entry ${index} is missing, entry ${row.index} follows`)
  const leaf = leafHash(sha256, row.bytes)
  if (!equalHashes({ a: leaf, b: row.leaf })) throw bad(index, `run ${runId}: entry ${index} is not what was hashed`)
  frontier.append(leaf)
}

async function checkHead(database: StoredLedger, rebuilt: { runId: string; frontier: Frontier }): Promise<void> {
  const { runId, frontier } = rebuilt
  const { size } = frontier
  const head = await database.ledgerHead(runId)
  const committed = head?.treeSize ?? 0
  if (committed !== size) {
    throw bad(Math.min(size, committed), `run ${runId}: the last commit left ${committed} entries, ${size} are there`)
  }
  if (head !== undefined && headOf(frontier).root !== head.root) {
    throw bad(size - 1, `run ${runId}: the ${size} entries have another root than the last commit left`)
  }
}

const bad = (index: number, detail: string): Problem => new Problem('ledger-bad', detail, { row: index + 1 })
