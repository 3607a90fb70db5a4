// Taking a source in: a folder or a ZIP becomes a staged package, or nothing is left of it.
import { lstatSync, rmSync } from 'node:fs'
import { Problem } from '../kernel/problem.ts'
import { takeInFolder } from './folder-intake.ts'
import { type IntakeLimits, intakeLimits, type StagedPackage, storageProblem } from './staging.ts'
import { takeInZip } from './zip-intake.ts'

export interface PackageSource {
  readonly path: string
}

function sourceKind(path: string): 'folder' | 'zip' {
  const stats = lstatSync(path, { throwIfNoEntry: false })
  if (!stats) throw new Problem('package-not-found', `nothing lies at ${path}`, { file: path })
  if (stats.isDirectory()) return 'folder'
  if (stats.isFile()) return 'zip'
  throw new Problem('file-path', `${path} is neither a folder nor a file`, { file: path })
}

/**
 * Copies a package's files to the new folder `into`, hashing them on the way. Findings of the result name what could not be taken in.
 * Problems leave nothing behind: `file-changed`, `file-path`, `zip-bad`, `zip-too-large`, `package-too-large`, `data-full`,
 * `package-not-found`.
 */
export async function takeIn(
  source: PackageSource,
  into: string,
  held: IntakeLimits = intakeLimits,
): Promise<StagedPackage> {
  try {
    const kind = sourceKind(source.path)
    return kind === 'folder' ? takeInFolder(source.path, into, held) : await takeInZip(source.path, into, held)
  } catch (error) {
    rmSync(into, { recursive: true, force: true })
    throw storageProblem(error)
  }
}
