// The central directory of a ZIP, read and judged before a single byte is unpacked.
import * as yauzl from 'yauzl'
import { limits } from '../kernel/limits.ts'
import { type Finding, Problem } from '../kernel/problem.ts'
import { openPathCensus, pathKey, shownPath } from './package-path.ts'
import type { IntakeLimits } from './staging.ts'

export interface ZipMember {
  readonly path: string
  readonly entry: yauzl.Entry
}

export interface ZipListing {
  readonly members: readonly ZipMember[]
  readonly findings: readonly Finding[]
}

export const zipProblem = (message: string, file?: string): Problem =>
  new Problem('zip-bad', message, file === undefined ? {} : { file })

const ratioFreeBytes = 1024 * 1024
const endRecordBytes = 22
// The ZIP64 end record with its locator.
const end64Bytes = 56 + 20
const localHeaderBytes = 30
const unixMadeBy = 3
const fileTypeMask = 0o170000
const plainFile = 0o100000
const folderType = 0o040000

function nameOf(entry: yauzl.Entry): string {
  return yauzl.getFileNameLowLevel(entry.generalPurposeBitFlag, entry.fileNameRaw, entry.extraFields, true)
}

const isFolder = (path: string): boolean => path.endsWith('/')

// Archives from Unix carry the file type in the upper half of the external attributes.
function entryKindFault(entry: yauzl.Entry): string | undefined {
  if (entry.versionMadeBy >> 8 !== unixMadeBy) return undefined
  const type = (entry.externalFileAttributes >>> 16) & fileTypeMask
  if (type === 0 || type === plainFile || type === folderType) return undefined
  return type === 0o120000 ? 'is a symbolic link' : 'is a device, pipe or socket'
}

function entryFinding(path: string, entry: yauzl.Entry): Finding | undefined {
  const file = shownPath(path)
  const kindFault = entryKindFault(entry)
  if (kindFault) return { code: 'file-path', file, message: `${file} ${kindFault}` }
  if (entry.isEncrypted()) return { code: 'zip-bad', file, message: `${file} is encrypted` }
  if (entry.compressionMethod !== 0 && entry.compressionMethod !== 8) {
    return {
      code: 'zip-bad',
      file,
      message: `${file} is packed by a method other than store and deflate`,
      measured: entry.compressionMethod,
    }
  }
  return undefined
}

function requireSizes({ entries, held }: { entries: readonly ZipMember[]; held: IntakeLimits }): void {
  let total = 0
  for (const { path, entry } of entries) {
    total += entry.uncompressedSize
    const beyond = entry.uncompressedSize - ratioFreeBytes
    if (beyond > entry.compressedSize * held.zipRatioMax) {
      throw new Problem(
        'zip-too-large',
        `${shownPath(path)} unpacks to more than ${held.zipRatioMax} times its packed size`,
        {
          file: shownPath(path),
          measured: Math.round(entry.uncompressedSize / Math.max(1, entry.compressedSize)),
          limit: held.zipRatioMax,
        },
      )
    }
  }
  if (total > held.bytesMax) {
    throw new Problem('zip-too-large', `the ZIP unpacks to ${total} bytes, more than ${held.bytesMax}`, {
      measured: total,
      limit: held.bytesMax,
    })
  }
}

// Entries that share packed bytes unpack to far more than the archive holds; no packer writes them.
function requireApart(entries: readonly ZipMember[], directoryStart: number): void {
  let end = 0
  let before = ''
  for (const { path, entry } of entries.toSorted(
    (a, b) => a.entry.relativeOffsetOfLocalHeader - b.entry.relativeOffsetOfLocalHeader,
  )) {
    if (entry.relativeOffsetOfLocalHeader < end) {
      throw zipProblem(`${shownPath(path)} shares bytes with ${shownPath(before)}`, shownPath(path))
    }
    end = entry.relativeOffsetOfLocalHeader + localHeaderBytes + entry.fileNameLength + entry.compressedSize
    before = path
    if (end > directoryStart) throw zipProblem(`${shownPath(path)} reaches into the ZIP's directory`, shownPath(path))
  }
}

// The published types call this cursor a boolean.
const cursorOf = (zip: yauzl.ZipFile): number => Number(zip.readEntryCursor)

// The counted entries must fill the directory: what one reader passes over, another would unpack.
function requireFullDirectory(zip: yauzl.ZipFile): void {
  const rest = zip.fileSize - cursorOf(zip)
  const commentBytes = zip.comment.length
  if (rest > endRecordBytes + commentBytes + end64Bytes) {
    throw zipProblem(`the ZIP's directory holds more than the ${zip.entryCount} entries that it counts`)
  }
}

/** Refuses a ZIP by its count alone; cheap whatever its size. */
export function requireCount(zip: yauzl.ZipFile, held: IntakeLimits): void {
  if (zip.entryCount > held.filesMax) {
    throw new Problem('zip-too-large', `the ZIP counts ${zip.entryCount} entries, more than ${held.filesMax}`, {
      measured: zip.entryCount,
      limit: held.filesMax,
    })
  }
}

// Where job.json lies in one folder at the top, names count from there.
function baseOf(paths: readonly string[]): string {
  if (paths.includes('job.json')) return ''
  const nested = paths.filter((path) => /^[^/]+\/job\.json$/.test(path))
  const [only] = nested
  return nested.length === 1 && only !== undefined ? only.slice(0, -'job.json'.length) : ''
}

/** Reads the directory. Problems: `zip-bad`, `zip-too-large`; what is wrong with single entries comes as findings. */
export async function readZipDirectory(zip: yauzl.ZipFile, held: IntakeLimits): Promise<ZipListing> {
  requireCount(zip, held)
  const directoryStart = cursorOf(zip)
  const entries: ZipMember[] = []
  for await (const entry of zip.eachEntry()) {
    if (entry.fileNameLength > 4 * limits.pathBytesMax) throw zipProblem('an entry has a name of absurd length')
    entries.push({ path: nameOf(entry), entry })
  }
  requireFullDirectory(zip)
  requireSizes({ entries, held })
  requireApart(entries, directoryStart)
  const base = baseOf(entries.map((one) => one.path))
  const census = openPathCensus()
  const members: ZipMember[] = []
  const findings: Finding[] = []
  for (const { path, entry } of entries) {
    if (isFolder(path) && entry.uncompressedSize === 0) continue
    const inner = path.startsWith(base) ? path.slice(base.length) : path
    const finding = entryFinding(inner, entry) ?? census.admit(inner)
    if (finding) findings.push(finding)
    else members.push({ path: pathKey(inner), entry })
  }
  return { members, findings }
}
