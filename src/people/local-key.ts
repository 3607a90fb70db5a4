// The key that lies in the data directory while a server runs: whoever can read the directory could change everything in it, so the
// commands on the same machine act with it as `admin`. It is made anew at every start, so that no copy of the directory holds a sound one.
import { readFile, rename, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { RandomBytes } from '../kernel/clock.ts'
import { drawKey, spellKey } from './key-text.ts'

const fileIn = (folder: string): string => join(folder, 'local.key')

/** Writes a fresh local key (mode 0600) into the folder of keys and returns its text. */
export async function writeLocalKey(parts: { readonly folder: string; readonly random: RandomBytes }): Promise<string> {
  const text = spellKey(drawKey(parts.random))
  const file = fileIn(parts.folder)
  const temporary = `${file}.part`
  await rm(temporary, { force: true })
  await writeFile(temporary, `${text}\n`, { flag: 'wx', mode: 0o600 })
  await rename(temporary, file)
  return text
}

/** The local key of the server that runs in this data directory; undefined where there is none or it may not be read. */
export async function readLocalKey(folder: string): Promise<string | undefined> {
  const text = await readFile(fileIn(folder), 'utf8').catch(() => '')
  return text.trim() || undefined
}

export const removeLocalKey = (folder: string): Promise<void> => rm(fileIn(folder), { force: true })
