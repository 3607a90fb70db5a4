// Writing a result to a file that is whole or not there.
import { rename, rm, writeFile } from 'node:fs/promises'
import { Problem } from '../kernel/problem.ts'

const fullCodes = ['ENOSPC', 'EDQUOT']

/** Writes to `<file>.part` and renames it at the end. Problems: `data-full`; `usage` for a file that cannot be written. */
export async function writeOut(file: string, content: AsyncIterable<string | Uint8Array>): Promise<void> {
  const unfinished = `${file}.part`
  try {
    await writeFile(unfinished, content)
    await rename(unfinished, file)
  } catch (error) {
    await rm(unfinished, { force: true }).catch(() => undefined)
    if (error instanceof Problem) throw error
    const { code, message } = error as NodeJS.ErrnoException
    if (code === undefined) throw error
    throw new Problem(fullCodes.includes(code) ? 'data-full' : 'usage', `cannot be written: ${message}`, { file })
  }
}
