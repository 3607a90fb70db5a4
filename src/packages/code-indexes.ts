// The open code indexes of this process, each once, whoever asks. They stay open: a run may need one long after a newer package came.
import { type CodeIndex, openCodeIndex } from '../codes/index.ts'
import { toDigest } from '../kernel/bytes.ts'
import type { BlobStore } from '../storage/port.ts'

export interface CodeIndexes {
  /** The open indexes of these digests, in their order. One that can't be opened is told of and left out: its codes are unknown. */
  all(digests: readonly string[]): Promise<readonly CodeIndex[]>
}

/** Memory: the indexes' own, some 40 bytes a code; they are read and verified whole when first asked for. */
export function openCodeIndexes(
  blobs: Pick<BlobStore, 'localFile'>,
  tell: (digest: string, error: unknown) => void,
): CodeIndexes {
  const open = new Map<string, Promise<CodeIndex>>()
  const one = async (text: string): Promise<CodeIndex> => {
    const digest = toDigest(text)
    return openCodeIndex(await blobs.localFile(digest), { digest })
  }
  return {
    async all(digests) {
      const found: CodeIndex[] = []
      for (const digest of digests) {
        const opening = open.get(digest) ?? one(digest)
        open.set(digest, opening)
        try {
          found.push(await opening)
        } catch (error) {
          open.delete(digest)
          tell(digest, error)
        }
      }
      return found
    },
  }
}
