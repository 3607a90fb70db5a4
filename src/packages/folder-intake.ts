// Taking a folder in: walk, copy and hash every plain file, walk again. A package that changes meanwhile is refused whole.
// Synchronous, because it runs in a worker thread and small files cost far less that way.
import { type BigIntStats, closeSync, constants, fstatSync, lstatSync, opendirSync, openSync, readSync } from 'node:fs'
import { join } from 'node:path'
import { type Finding, Problem } from '../kernel/problem.ts'
import { fileMark } from './file-mark.ts'
import { openPathCensus, pathKey, shownPath } from './package-path.ts'
import { type IntakeLimits, openStaging, type StagedPackage, type StagingArea, stagedPackage } from './staging.ts'

const chunkBytes = 1024 * 1024
// O_NONBLOCK keeps a named pipe put in place of a file from holding the thread.
const readFlags = constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK

interface Found {
  readonly path: string
  readonly stats: BigIntStats
}

const changed = (path: string): Problem =>
  new Problem(
    'file-changed',
    `${shownPath(path)} changed while it was read; wait until nothing writes to the package`,
    {
      file: path,
    },
  )

const gone = (error: unknown): boolean => (error as NodeJS.ErrnoException | undefined)?.code === 'ENOENT'

// Everything below a folder but the folders themselves, in a fixed order.
function walk(root: string, held: IntakeLimits): Found[] {
  const found: Found[] = []
  const folders = ['']
  let met = 0
  for (let folder = folders.pop(); folder !== undefined; folder = folders.pop()) {
    const open = opendirSync(join(root, folder))
    try {
      for (let entry = open.readSync(); entry; entry = open.readSync()) {
        met += 1
        if (met > held.filesMax) {
          throw new Problem('package-too-large', `the package holds more than ${held.filesMax} files and folders`, {
            measured: met,
            limit: held.filesMax,
          })
        }
        const path = folder === '' ? entry.name : `${folder}/${entry.name}`
        const stats = lstatSync(join(root, path), { bigint: true })
        if (stats.isDirectory()) folders.push(path)
        else found.push({ path, stats })
      }
    } finally {
      open.closeSync()
    }
  }
  return found.sort((a, b) => (a.path < b.path ? -1 : 1))
}

function kindFault(stats: BigIntStats): string | undefined {
  if (stats.isFile()) return undefined
  return stats.isSymbolicLink() ? 'is a symbolic link' : 'is a device, pipe or socket'
}

function copyFile(root: string, { path, stats }: Found, area: StagingArea): void {
  const descriptor = openSync(join(root, path), readFlags)
  const target = area.begin(pathKey(path))
  let finished = false
  try {
    if (fileMark(fstatSync(descriptor, { bigint: true })) !== fileMark(stats)) throw changed(path)
    const chunk = Buffer.allocUnsafe(Math.min(chunkBytes, Number(stats.size) + 1))
    for (let read = readSync(descriptor, chunk); read > 0; read = readSync(descriptor, chunk)) {
      target.write(chunk.subarray(0, read))
    }
    if (fileMark(fstatSync(descriptor, { bigint: true })) !== fileMark(stats)) throw changed(path)
    finished = true
  } finally {
    closeSync(descriptor)
    if (finished) target.end()
    else target.abandon()
  }
}

function requireSame(before: readonly Found[], after: readonly Found[]): void {
  const marks = new Map(before.map((one) => [one.path, fileMark(one.stats)]))
  for (const { path, stats } of after) {
    if (marks.get(path) !== fileMark(stats)) throw changed(path)
    marks.delete(path)
  }
  for (const path of marks.keys()) throw changed(path)
}

/**
 * Copies a folder's files into the staging folder `into`, which the caller removes whatever comes of it. Problems: `file-changed`,
 * `package-too-large`, `data-full`.
 */
export function takeInFolder(source: string, into: string, held: IntakeLimits): StagedPackage {
  const area = openStaging(into, held)
  const findings: Finding[] = []
  try {
    const before = walk(source, held)
    const census = openPathCensus()
    for (const found of before) {
      const fault = kindFault(found.stats)
      const finding = fault
        ? ({ code: 'file-path', file: shownPath(found.path), message: `${shownPath(found.path)} ${fault}` } as const)
        : census.admit(found.path)
      if (finding) findings.push(finding)
      else copyFile(source, found, area)
    }
    requireSame(before, walk(source, held))
  } catch (error) {
    if (gone(error)) throw changed((error as NodeJS.ErrnoException).path ?? source)
    throw error
  }
  return stagedPackage(into, area, findings)
}
