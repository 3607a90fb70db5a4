// Small steps towards files that survive a power cut: what was written is synced, and so is the folder that names it.
import { randomBytes } from 'node:crypto'
import { mkdir, open, rename, rm } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { Problem } from '../kernel/problem.ts'

const fullCodes: readonly string[] = ['ENOSPC', 'EDQUOT']

export const errorCode = (error: unknown): string | undefined =>
  error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : undefined

/** Runs a step that writes; a full disk or quota becomes Problem `data-full`. */
export async function whereDiskFills<T>(step: () => Promise<T>): Promise<T> {
  try {
    return await step()
  } catch (error) {
    if (!fullCodes.includes(errorCode(error) ?? '')) throw error
    throw new Problem('data-full', error instanceof Error ? error.message : 'the disk is full')
  }
}

export async function syncFolder(folder: string): Promise<void> {
  const handle = await open(folder, 'r')
  try {
    await handle.sync()
  } finally {
    await handle.close()
  }
}

/** Makes a folder whose parent stands, and syncs the parent if it is new. */
export async function makeFolder(folder: string, mode = 0o777): Promise<void> {
  const made = await mkdir(folder, { recursive: true, mode })
  if (made !== undefined) await syncFolder(dirname(folder))
}

/** Replaces a small file as a whole: after a crash at any moment there is the old text or the new one. */
export async function writeFileWhole(path: string, text: string): Promise<void> {
  const folder = dirname(path)
  const temporary = join(folder, `.${process.pid}-${randomBytes(6).toString('hex')}.part`)
  try {
    const handle = await open(temporary, 'wx')
    try {
      await handle.writeFile(text)
      await handle.sync()
    } finally {
      await handle.close()
    }
    await rename(temporary, path)
    await syncFolder(folder)
  } catch (error) {
    await rm(temporary, { force: true })
    throw error
  }
}
