// Taking a ZIP in: the directory first, then entry by entry, counting what really comes out.
import { constants, fstatSync } from 'node:fs'
import { type FileHandle, open } from 'node:fs/promises'
import { crc32 } from 'node:zlib'
import * as yauzl from 'yauzl'
import { Problem } from '../kernel/problem.ts'
import { fileMark } from './file-mark.ts'
import { shownPath } from './package-path.ts'
import { type IntakeLimits, openStaging, type StagedPackage, type StagingArea, stagedPackage } from './staging.ts'
import { readZipDirectory, type ZipMember, zipProblem } from './zip-directory.ts'
import { ZipFileReader } from './zip-file-reader.ts'

// Codes of system calls begin with E, those of the unpacker with Z.
const isSystemError = (error: unknown): boolean => /^E[A-Z0-9]+$/.test(String((error as NodeJS.ErrnoException)?.code))

// The library speaks in plain errors; those of the disk stay as they are.
function asZipProblem(error: unknown, file?: string): unknown {
  if (error instanceof Problem || isSystemError(error)) return error
  return zipProblem(`the ZIP cannot be read: ${(error as Error).message}`, file)
}

async function openZip(file: FileHandle): Promise<yauzl.ZipFile> {
  const { size } = await file.stat()
  try {
    // Names stay raw, so that a bad one is a finding beside others instead of the end of reading.
    return await yauzl.fromRandomAccessReaderPromise(new ZipFileReader(file, size), size, {
      lazyEntries: true,
      autoClose: false,
      decodeStrings: false,
    })
  } catch (error) {
    throw asZipProblem(error)
  }
}

async function unpack(zip: yauzl.ZipFile, { path, entry }: ZipMember, area: StagingArea): Promise<void> {
  const target = area.begin(path)
  let finished = false
  try {
    const stream = await zip.openReadStreamPromise(entry)
    let sum = 0
    for await (const chunk of stream as AsyncIterable<Buffer>) {
      sum = crc32(chunk, sum)
      target.write(chunk)
    }
    if (sum !== entry.crc32) throw zipProblem(`${shownPath(path)} does not have the checksum that the ZIP states`, path)
    finished = true
  } catch (error) {
    throw asZipProblem(error, shownPath(path))
  } finally {
    if (finished) target.end()
    else target.abandon()
  }
}

/** Opens a ZIP by path without following a link, reads with it, and closes it. Problem `file-changed` if it changed meanwhile. */
export async function withZip<T>(path: string, read: (zip: yauzl.ZipFile) => Promise<T>): Promise<T> {
  const file = await open(path, constants.O_RDONLY | constants.O_NOFOLLOW | constants.O_NONBLOCK)
  const before = fileMark(fstatSync(file.fd, { bigint: true }))
  const isSame = (): boolean => before === fileMark(fstatSync(file.fd, { bigint: true }))
  try {
    const result = await read(await openZip(file))
    if (!isSame()) throw new Problem('file-changed', 'the ZIP changed while it was read', { file: path })
    return result
  } catch (error) {
    // A ZIP that is still being written also reads as a bad one.
    if (error instanceof Problem && error.code === 'zip-bad' && !isSame()) {
      throw new Problem('file-changed', 'the ZIP changed while it was read', { file: path })
    }
    throw asZipProblem(error)
  } finally {
    await file.close()
  }
}

/**
 * Unpacks a ZIP into the staging folder `into`, which the caller removes whatever comes of it. Problems: `zip-bad`, `zip-too-large`,
 * `package-too-large`, `file-changed`.
 */
export function takeInZip(source: string, into: string, held: IntakeLimits): Promise<StagedPackage> {
  return withZip(source, async (zip) => {
    const { members, findings } = await readZipDirectory(zip, held)
    const area = openStaging(into, held)
    for (const member of members) await unpack(zip, member, area)
    return stagedPackage(into, area, findings)
  })
}
