// JSON files that commands are given, and refusals that say which file they are about.
import { readFile } from 'node:fs/promises'
import { Problem } from '../kernel/problem.ts'

/** The object in a JSON file; anything that is no object is an empty one. Problems: `not-found`, `body-not-json`. */
export async function jsonFile(file: string): Promise<Readonly<Record<string, unknown>>> {
  const text = await readFile(file, 'utf8').catch((error) => {
    throw new Problem('not-found', `there is no file ${file}, or it cannot be read: ${error.code}`, { file })
  })
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch (error) {
    throw new Problem('body-not-json', `not JSON: ${(error as Error).message}`, { file })
  }
  return typeof value === 'object' && value !== null ? (value as Readonly<Record<string, unknown>>) : {}
}

/** A problem with the content of a file says which file. */
export async function about<T>(file: string, work: Promise<T>): Promise<T> {
  try {
    return await work
  } catch (error) {
    if (!(error instanceof Problem)) throw error
    throw new Problem(error.code, error.message, { file, ...error.place, findings: error.findings })
  }
}
