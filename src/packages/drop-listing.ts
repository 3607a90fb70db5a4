// What lies in the intake folder under one name, and whether it is still the same.
import type { Dirent } from 'node:fs'
import { lstat, readdir } from 'node:fs/promises'
import { join } from 'node:path'
import { canonicalText, sha256Hex } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { fileMark } from './file-mark.ts'

export interface DropListing {
  readonly kind: 'folder' | 'file'
  /** Marks of everything inside that is no folder, by relative path; of a file itself under the empty path. */
  readonly marks: ReadonlyMap<string, string>
  /** Digest of the whole listing. It stays the same when the drop is moved within its file system. */
  readonly print: string
}

const isGone = (error: unknown): boolean =>
  ['ENOENT', 'ENOTDIR'].includes(String((error as NodeJS.ErrnoException)?.code))

async function addFolder(root: string, folder: string, marks: Map<string, string>): Promise<void> {
  const entries: Dirent[] = await readdir(join(root, folder), { withFileTypes: true })
  for (const entry of entries) {
    // Far beyond any package; publishing will refuse it by count.
    if (marks.size > limits.packageFilesMax) return
    const path = folder === '' ? entry.name : `${folder}/${entry.name}`
    if (entry.isDirectory()) await addFolder(root, path, marks)
    else marks.set(path, fileMark(await lstat(join(root, path), { bigint: true })))
  }
}

/** Lists a drop; undefined where nothing is there, or it went away meanwhile. */
export async function listDrop(path: string): Promise<DropListing | undefined> {
  try {
    const stats = await lstat(path, { bigint: true })
    const marks = new Map<string, string>()
    if (stats.isDirectory()) await addFolder(path, '', marks)
    else marks.set('', fileMark(stats))
    const lines = [...marks].sort(([a], [b]) => (a < b ? -1 : 1))
    return { kind: stats.isDirectory() ? 'folder' : 'file', marks, print: sha256Hex(canonicalText(lines)) }
  } catch (error) {
    if (isGone(error)) return undefined
    throw error
  }
}
