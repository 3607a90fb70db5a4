// Digests of files where they lie, for telling whether a package has arrived whole.
import { createHash } from 'node:crypto'
import { closeSync, constants, fstatSync, openSync, readSync } from 'node:fs'
import type { Digest } from '../kernel/bytes.ts'
import { fileMark } from './file-mark.ts'

export interface DigestedFile {
  readonly digest: Digest
  /** What the file was like before and after. */
  readonly mark: string
}

const chunk = Buffer.alloc(1024 * 1024)

function digestFile(path: string): DigestedFile | undefined {
  const descriptor = openSync(path, constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK)
  try {
    const before = fstatSync(descriptor, { bigint: true })
    if (!before.isFile()) return undefined
    const hash = createHash('sha256')
    for (let read = readSync(descriptor, chunk); read > 0; read = readSync(descriptor, chunk)) {
      hash.update(chunk.subarray(0, read))
    }
    const mark = fileMark(before)
    if (fileMark(fstatSync(descriptor, { bigint: true })) !== mark) return undefined
    return { digest: hash.digest('hex') as Digest, mark }
  } finally {
    closeSync(descriptor)
  }
}

/** Digests of plain files; undefined for one that is absent, unreadable, no plain file, or changed while it was read. */
export function digestFiles(paths: readonly string[]): (DigestedFile | undefined)[] {
  return paths.map((path) => {
    try {
      return digestFile(path)
    } catch {
      return undefined
    }
  })
}
