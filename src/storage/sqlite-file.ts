// Opening one SQLite file the way that promises need it, and telling a full disk from other failures.
import Sqlite from 'better-sqlite3'
import { Problem, type ProblemCode } from '../kernel/problem.ts'

const busyTimeoutMs = 5_000

/**
 * WAL with synchronous FULL syncs the log at every commit. Pages of 8 KiB keep entries of up to that size out of overflow chains and
 * measured fastest for the ledger (4 to 16 KiB tried). `fullfsync` matters on macOS only, where fsync stops at the drive's cache.
 */
export function openSqliteFile(path: string): Sqlite.Database {
  let file: Sqlite.Database | undefined
  try {
    file = new Sqlite(path, { timeout: busyTimeoutMs })
    file.pragma('page_size = 8192')
    const mode = file.pragma('journal_mode = WAL', { simple: true })
    if (mode !== 'wal') {
      throw new Problem('data-unusable', 'the file system does not allow a write-ahead log', { file: path })
    }
    file.pragma('synchronous = FULL')
    file.pragma('fullfsync = ON')
    file.pragma('checkpoint_fullfsync = ON')
    file.pragma('foreign_keys = ON')
    return file
  } catch (error) {
    file?.close()
    throw sqliteProblem(error, { otherwise: 'data-unusable', file: path })
  }
}

// A log index that can't grow shows as a failed I/O on the shared memory file; measured on a full tmpfs.
const fullCodes: readonly string[] = ['SQLITE_FULL', 'SQLITE_IOERR_SHMSIZE']

export function isDiskFull(error: unknown): boolean {
  return error instanceof Sqlite.SqliteError && fullCodes.includes(error.code)
}

/** `data-full` for a full disk, the code given for other failures of the engine; a `Problem` and a bug stay themselves. */
export function sqliteProblem(error: unknown, { otherwise, file }: { otherwise: ProblemCode; file?: string }): unknown {
  // The engine's own errors, and those of using a closed file.
  if (!(error instanceof Sqlite.SqliteError || error instanceof TypeError)) return error
  const problem = new Problem(
    isDiskFull(error) ? 'data-full' : otherwise,
    error.message,
    file === undefined ? {} : { file },
  )
  problem.cause = error
  return problem
}
