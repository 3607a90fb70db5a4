// Keeps the last known condition of every layer that open runs may lay, so that a decision needs no disk. Conditions are taken when a
// run opens and again in sweeps; a sweep costs one stat a layer, and a re-hash of the files whose stat changed.
import type { Digest } from '../kernel/bytes.ts'
import type { BlobCondition, BlobStore } from '../storage/port.ts'

export interface LayerWatch {
  /** Looks at these layers now and in every sweep from now on. */
  add(digests: Iterable<Digest>): Promise<void>
  /** Last known condition; a layer never looked at counts as missing. */
  condition(digest: Digest): BlobCondition
  /** Looks at all watched layers again. */
  sweep(): Promise<void>
}

export function openLayerWatch(blobs: BlobStore): LayerWatch {
  const known = new Map<Digest, BlobCondition>()
  const look = async (digest: Digest): Promise<void> => {
    known.set(digest, await blobs.condition(digest))
  }
  return {
    async add(digests) {
      for (const digest of digests) if (!known.has(digest)) await look(digest)
    },
    condition: (digest) => known.get(digest) ?? 'missing',
    async sweep() {
      for (const digest of [...known.keys()]) await look(digest)
    },
  }
}
