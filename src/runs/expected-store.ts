// The sequences of tickets that runs have outlooks on: each read once for all that ask, the last few kept.
import { open } from 'node:fs/promises'
import { canonicalText, sha256Hex, toDigest } from '../kernel/bytes.ts'
import { layoutOf } from '../lines/index.ts'
import type { CatalogueStore } from '../packages/index.ts'
import type { BlobStore } from '../storage/port.ts'
import { type ExpectedLabels, readExpected } from './expected-labels.ts'
import { openRecent } from './recent.ts'
import { resolverOver } from './resolver-over.ts'
import type { RunState } from './state.ts'

interface Parts {
  readonly blobs: Pick<BlobStore, 'condition' | 'localFile'>
  readonly catalogue: CatalogueStore
}

/** Up to some 40 MB each; whoever uses one holds it for itself. */
const keptMax = 4

export type ExpectedStore = (state: Pick<RunState, 'ticket' | 'frozen'>) => Promise<ExpectedLabels | undefined>

/** What a run's ticket expects; undefined where it has no sequence, or one whose stored bytes are not sound. */
export function openExpected({ blobs, catalogue }: Parts): ExpectedStore {
  const kept = openRecent<ExpectedLabels | undefined>(keptMax)
  return async ({ ticket, frozen }) => {
    const [first] = frozen.jobs
    if (!ticket.sequence || !first) return undefined
    const digest = toDigest(ticket.sequence.sha256)
    const read = async (): Promise<ExpectedLabels | undefined> => {
      if ((await blobs.condition(digest)) !== 'sound') return undefined
      const resolver = await resolverOver(catalogue, frozen.jobs)
      const handle = await open(await blobs.localFile(digest), 'r')
      try {
        return await readExpected({ handle, layout: layoutOf(first.frame, ticket.cells), resolver })
      } finally {
        await handle.close()
      }
    }
    return kept.of(sha256Hex(canonicalText([digest, frozen, ticket.cells ?? []])), read, (found) => found !== undefined)
  }
}
