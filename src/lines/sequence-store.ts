// A sequence taken in: read through, and stored as a blob under its digest where nothing is wrong with it.
import { open } from 'node:fs/promises'
import type { Digest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { BlobStore } from '../storage/port.ts'
import { readSequence } from './sequence.ts'
import type { SequenceLayout } from './sequence-layout.ts'

export interface StoredSequence {
  /** For `sequence.sha256` of the ticket. */
  readonly sha256: Digest
  readonly bytes: number
  readonly rows: number
  readonly positions: number
}

export interface SequenceOrder {
  /** A file that nobody changes meanwhile. */
  readonly path: string
  /** Of the jobs that it is for, where they are published. */
  readonly layout?: SequenceLayout | undefined
  readonly signal?: AbortSignal | undefined
}

/** Stores a sequence. Problem `sequence-refused` with every finding. */
export async function putSequence(
  { blobs }: { readonly blobs: Pick<BlobStore, 'put'> },
  { path, layout, signal }: SequenceOrder,
): Promise<StoredSequence> {
  const handle = await open(path, 'r')
  try {
    const { rows, positions, findings, findingsTotal } = await readSequence({
      handle,
      file: 'sequence',
      layout,
      signal,
    })
    if (findingsTotal > 0) {
      const count = `${findingsTotal.toLocaleString('en-GB')} finding${findingsTotal === 1 ? '' : 's'}`
      throw new Problem('sequence-refused', `the sequence has ${count}`, {
        findings,
        measured: findingsTotal,
        limit: 0,
      })
    }
    const { digest, bytes } = await blobs.put({ path })
    return { sha256: digest, bytes, rows, positions }
  } finally {
    await handle.close()
  }
}
