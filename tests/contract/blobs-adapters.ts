// The stores that the blob contract is run on. A new store adds itself here.
import { chmod, readdir, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { Digest } from '../../src/kernel/bytes.ts'
import { type BlobStore, openFolderBlobs } from '../../src/storage/index.ts'

export interface BlobsAdapter {
  readonly name: string
  /** Opens the store that lives at a folder's path, the same one each time. */
  open(where: string): Promise<BlobStore>
  /** All that is stored, unfinished things included, as names. */
  contents(where: string): Promise<readonly string[]>
  /** Changes or removes stored bytes past the port. */
  damage(where: string, digest: Digest, bytes: Uint8Array): Promise<void>
  lose(where: string, digest: Digest): Promise<void>
}

const pathOf = (where: string, digest: Digest) => join(where, 'blobs', 'sha256', digest.slice(0, 2), digest)

const folder: BlobsAdapter = {
  name: 'a folder',
  open: (where) => openFolderBlobs({ folder: join(where, 'blobs'), temporary: join(where, 'blobs', 'temporary') }),
  async contents(where) {
    const entries = await readdir(join(where, 'blobs'), { recursive: true, withFileTypes: true })
    return entries.filter((entry) => entry.isFile()).map(({ name }) => name)
  },
  async damage(where, digest, bytes) {
    await chmod(pathOf(where, digest), 0o644)
    await writeFile(pathOf(where, digest), bytes)
  },
  lose: (where, digest) => rm(pathOf(where, digest)),
}

export const blobsAdapters: readonly BlobsAdapter[] = [folder]

export function blobsAdapterNamed(name: string): BlobsAdapter {
  const adapter = blobsAdapters.find((each) => each.name === name)
  if (adapter === undefined) throw new Error(`no adapter ${name}`)
  return adapter
}
