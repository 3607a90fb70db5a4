// A package taken in: its files copied to a private folder under numbers, so that no name from outside is ever used as a path.

import { createHash, type Hash } from 'node:crypto'
import { closeSync, mkdirSync, openSync, writeSync } from 'node:fs'
import { readdir, rm } from 'node:fs/promises'
import { join } from 'node:path'
import type { Digest } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { type Finding, Problem } from '../kernel/problem.ts'

export interface StagedFile {
  /** As named in the package, relative, with forward slashes, composed Unicode. */
  readonly path: string
  /** Where the bytes lie now. */
  readonly stored: string
  readonly bytes: number
  readonly digest: Digest
}

export interface StagedPackage {
  readonly folder: string
  readonly files: readonly StagedFile[]
  readonly bytes: number
  /** What could not be taken in: links, devices, names that no file may have. */
  readonly findings: readonly Finding[]
}

/** Limits that a source is held to; the defaults are those of `kernel/limits.ts`. */
export interface IntakeLimits {
  readonly filesMax: number
  readonly bytesMax: number
  readonly zipRatioMax: number
}

export const intakeLimits: IntakeLimits = {
  filesMax: limits.packageFilesMax,
  bytesMax: limits.packageBytesMax,
  zipRatioMax: limits.zipRatioMax,
}

/** What a system call's failure means to the caller: a full disk is a problem of its own, all else is passed on. */
export function storageProblem(error: unknown): unknown {
  const code = (error as NodeJS.ErrnoException | undefined)?.code
  if (code === 'ENOSPC' || code === 'EDQUOT')
    return new Problem('data-full', 'the disk is full; the package was not taken in')
  return error
}

/** The folder in which staging folders lie. */
export const stagingRoot = (spool: string): string => join(spool, 'staging')

/** Removes what a crash left in staging. Call before anything is staged. */
export async function clearStaging(spool: string): Promise<void> {
  const names = await readdir(stagingRoot(spool)).catch(() => [])
  for (const name of names) await rm(join(stagingRoot(spool), name), { recursive: true, force: true })
}

interface OpenFile {
  write(chunk: Uint8Array): void
  /** Closes and enters the file. */
  end(): void
  abandon(): void
}

export interface StagingArea {
  /** Begins a file. Problem `package-too-large` as soon as a limit is passed. */
  begin(path: string): OpenFile
  readonly files: StagedFile[]
}

/** Opens the (new) folder of one package for writing. */
export function openStaging(folder: string, held: IntakeLimits): StagingArea {
  mkdirSync(folder, { recursive: true })
  const files: StagedFile[] = []
  let total = 0
  let begun = 0
  return {
    files,
    begin(path) {
      const stored = join(folder, String(begun))
      begun += 1
      const descriptor = openSync(stored, 'wx', 0o600)
      const hash: Hash = createHash('sha256')
      let bytes = 0
      return {
        write(chunk) {
          bytes += chunk.byteLength
          total += chunk.byteLength
          if (total > held.bytesMax) {
            throw new Problem('package-too-large', `the package is larger than ${held.bytesMax} bytes`, {
              file: path,
              measured: total,
              limit: held.bytesMax,
            })
          }
          hash.update(chunk)
          for (let done = 0; done < chunk.byteLength; ) done += writeSync(descriptor, chunk, done)
        },
        end() {
          closeSync(descriptor)
          files.push({ path, stored, bytes, digest: hash.digest('hex') as Digest })
        },
        abandon: () => closeSync(descriptor),
      }
    },
  }
}

/** The staged package as it now stands. */
export const stagedPackage = (folder: string, area: StagingArea, findings: readonly Finding[]): StagedPackage => ({
  folder,
  files: area.files,
  bytes: area.files.reduce((sum, file) => sum + file.bytes, 0),
  findings,
})
