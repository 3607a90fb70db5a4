// The data directory (DESIGN §6): its layout, its format number, and the lock that keeps a second process out.
import { chmod, mkdir, readFile, rm } from 'node:fs/promises'
import { join, resolve } from 'node:path'
import Sqlite from 'better-sqlite3'
import { Problem } from '../kernel/problem.ts'
import { errorCode, makeFolder, syncFolder, whereDiskFills, writeFileWhole } from './durable-files.ts'
import { sqliteProblem } from './sqlite-file.ts'

const formatNumber = 1

/** Absolute paths of the parts of a data directory. All of the folders are there once it is open; files may be absent. */
export interface DataPaths {
  readonly root: string
  readonly format: string
  /** Read and written by the configuration code. */
  readonly config: string
  readonly db: string
  /** Where the running server leaves its address. */
  readonly server: string
  readonly blobs: string
  /** Unfinished blobs, in the file system of `blobs`. */
  readonly temporary: string
  readonly intake: string
  readonly refused: string
  readonly captures: string
  /** Mode 0700. */
  readonly keys: string
  readonly spool: string
}

export interface DataDirectory {
  readonly paths: DataPaths
  /** Lets other processes in. The kernel does the same when this process dies, however it dies. */
  release(): Promise<void>
}

/** Where things are in a data directory, without opening it. */
export function dataPaths(path: string): DataPaths {
  const root = resolve(path)
  return {
    root,
    format: join(root, 'format'),
    config: join(root, 'config.json'),
    db: join(root, 'db'),
    server: join(root, 'db', 'server.json'),
    blobs: join(root, 'blobs'),
    temporary: join(root, 'blobs', 'temporary'),
    intake: join(root, 'intake'),
    refused: join(root, 'refused'),
    captures: join(root, 'captures'),
    keys: join(root, 'keys'),
    spool: join(root, 'spool'),
  }
}

async function readFormat(paths: DataPaths): Promise<number | undefined> {
  const text = await readFile(paths.format, 'utf8').catch((error) => {
    if (errorCode(error) === 'ENOENT') return undefined
    throw error
  })
  if (text === undefined) return undefined
  if (!/^\d{1,9}\n?$/.test(text)) {
    throw new Problem('data-unusable', 'the format file does not hold a number', { file: paths.format })
  }
  return Number(text)
}

function refuseNewer(format: number | undefined, paths: DataPaths): void {
  if (format === undefined || format <= formatNumber) return
  throw new Problem('data-format', `the data directory has format ${format}`, {
    file: paths.format,
    measured: format,
    limit: formatNumber,
  })
}

/**
 * An open exclusive transaction on a small SQLite file: an advisory lock of the kernel, gone with the process. Nothing else in this
 * process may open and close that file, since POSIX drops all of a process's locks on it then.
 */
function lock(paths: DataPaths): Sqlite.Database {
  const path = join(paths.db, 'lock.sqlite')
  const file = new Sqlite(path, { timeout: 0 })
  try {
    file.exec('begin exclusive')
    return file
  } catch (error) {
    file.close()
    if (error instanceof Sqlite.SqliteError && error.code.startsWith('SQLITE_BUSY')) {
      throw new Problem('data-in-use', `another process uses ${paths.root}`, { file: path })
    }
    throw sqliteProblem(error, { otherwise: 'data-unusable', file: path })
  }
}

async function layOut(paths: DataPaths, format: number | undefined): Promise<void> {
  const { blobs, temporary, intake, refused, captures, keys, spool } = paths
  for (const folder of [blobs, join(blobs, 'sha256'), temporary, intake, refused, captures, spool]) {
    await makeFolder(folder)
  }
  await makeFolder(keys, 0o700)
  await chmod(keys, 0o700)
  await rm(paths.server, { force: true })
  if (format === undefined) await writeFileWhole(paths.format, `${formatNumber}\n`)
  await syncFolder(paths.root)
}

async function openLocked(paths: DataPaths): Promise<DataDirectory> {
  // Looked at before anything is touched, and again under the lock, where nobody can change it any more.
  refuseNewer(await readFormat(paths), paths)
  await mkdir(paths.db, { recursive: true })
  const file = lock(paths)
  try {
    const format = await readFormat(paths)
    refuseNewer(format, paths)
    await layOut(paths, format)
  } catch (error) {
    file.close()
    throw error
  }
  return {
    paths,
    async release() {
      file.close()
    },
  }
}

/**
 * Opens a data directory, creating what is absent, and keeps other processes out until `release` or the end of this process. A
 * `server.json` left by a server that died is removed. Problems: `data-in-use`, `data-format` for a newer format,
 * `data-full`, `data-unusable` where the path can't be read or written.
 */
export async function openDataDirectory(path: string): Promise<DataDirectory> {
  const paths = dataPaths(path)
  try {
    return await whereDiskFills(() => openLocked(paths))
  } catch (error) {
    if (error instanceof Problem) throw error
    const detail = error instanceof Error ? error.message : String(error)
    throw new Problem('data-unusable', `${paths.root}: ${detail}`, { file: paths.root })
  }
}
