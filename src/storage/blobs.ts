// The blob store in a folder: `sha256/ab/<digest>`, read-only files that appear whole under their name or not at all.
import { createHash, randomBytes } from 'node:crypto'
import { constants, createReadStream } from 'node:fs'
import { type FileHandle, open, readdir, readFile, rename, rm, stat } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { assert } from '../kernel/assert.ts'
import { type Digest, digestPattern, sha256Hex, toDigest } from '../kernel/bytes.ts'
import { type Clock, systemClock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import { errorCode, makeFolder, syncFolder, whereDiskFills } from './durable-files.ts'
import type { BlobCondition, BlobStore } from './port.ts'

const chunkBytes = 1024 * 1024
const signaturesMax = 200_000
// File times move in steps of a few ms: a file that changed this lately can change again without showing it.
const restMs = 100

type Source = Parameters<BlobStore['put']>[0]
interface Hashed {
  readonly digest: Digest
  readonly bytes: number
}

/** Reads a file from its start, one chunk in memory at a time. The chunk is overwritten by the next one. */
async function* chunksOf(handle: FileHandle): AsyncGenerator<Uint8Array> {
  const { size } = await handle.stat()
  const buffer = Buffer.allocUnsafe(Math.min(size + 1, chunkBytes))
  for (let at = 0; ; ) {
    const { bytesRead } = await handle.read(buffer, 0, buffer.length, at)
    if (bytesRead === 0) return
    at += bytesRead
    yield buffer.subarray(0, bytesRead)
  }
}

/** Hashes what comes and, with `target`, writes it there. */
async function hashThrough(
  chunks: AsyncIterable<Uint8Array> | Iterable<Uint8Array>,
  target?: FileHandle,
): Promise<Hashed> {
  const hash = createHash('sha256')
  let bytes = 0
  for await (const chunk of chunks) {
    // The disk takes the chunk while it is hashed here.
    const written = target === undefined ? undefined : writeAll(target, chunk)
    hash.update(chunk)
    bytes += chunk.byteLength
    await written
  }
  return { digest: toDigest(hash.digest('hex')), bytes }
}

async function writeAll(target: FileHandle, chunk: Uint8Array): Promise<void> {
  for (let done = 0; done < chunk.byteLength; ) {
    done += (await target.write(chunk, done)).bytesWritten
  }
}

/** Opens a file to be taken in. Not blocking, so that a pipe by that name can be refused instead of waited for. */
async function openSource(path: string): Promise<FileHandle> {
  const handle = await open(path, constants.O_RDONLY | constants.O_NONBLOCK).catch((error) => {
    if (errorCode(error) === 'ENOENT') throw new Problem('file-missing', 'the file is not there', { file: path })
    throw error
  })
  if ((await handle.stat()).isFile()) return handle
  await handle.close()
  throw new Problem('file-path', 'not a plain file', { file: path })
}

async function hashSource(source: Source, target?: FileHandle): Promise<Hashed> {
  if ('bytes' in source) return hashThrough([source.bytes], target)
  const handle = await openSource(source.path)
  try {
    return await hashThrough(chunksOf(handle), target)
  } finally {
    await handle.close()
  }
}

function refuseOther({ digest }: Hashed, { expected, source }: { expected: Digest | undefined; source: Source }): void {
  if (expected === undefined || digest === expected) return
  const file = 'path' in source ? { file: source.path } : {}
  throw new Problem('file-digest', 'the bytes have another digest', { ...file, measured: digest, limit: expected })
}

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0)
    return true
  } catch (error) {
    return errorCode(error) === 'EPERM'
  }
}

// What is older than this process, or of a process that is no more. An unfinished blob's name begins with its process's id.
async function removeLeftovers(temporary: string): Promise<void> {
  for (const name of await readdir(temporary)) {
    const path = join(temporary, name)
    const { mtimeMs } = await stat(path)
    const pid = /^(\d+)-\w+\.part$/.exec(name)?.[1]
    const orphaned = pid !== undefined && !isAlive(Number(pid))
    if (orphaned || mtimeMs < performance.timeOrigin) await rm(path, { force: true, recursive: true })
  }
}

/** What a file was like when it was read: anything that changes its bytes through the file system changes this. */
async function signatureOf(handle: FileHandle): Promise<{ signature: string; changedAtMs: number }> {
  const { size, mtimeNs, ctimeNs, ino } = await handle.stat({ bigint: true })
  return { signature: `${size} ${mtimeNs} ${ctimeNs} ${ino}`, changedAtMs: Number(ctimeNs / 1_000_000n) }
}

/** Judges stored files, remembering the signatures of sound ones. */
function createJudge({ pathOf, clock }: { pathOf: (digest: Digest) => string; clock: Clock }) {
  const sound = new Map<Digest, string>()
  const remember = (digest: Digest, signature: string) => {
    const [oldest] = sound.keys()
    if (sound.size >= signaturesMax && oldest !== undefined) sound.delete(oldest)
    sound.set(digest, signature)
  }
  const judge = async (digest: Digest, handle: FileHandle): Promise<BlobCondition> => {
    const before = await signatureOf(handle)
    if (sound.get(digest) === before.signature) return 'sound'
    sound.delete(digest)
    const rested = before.changedAtMs + restMs < clock.nowMs()
    const hashed = await hashThrough(chunksOf(handle))
    if (hashed.digest !== digest) return 'damaged'
    const after = await signatureOf(handle)
    if (rested && after.signature === before.signature) remember(digest, after.signature)
    return 'sound'
  }
  return async (digest: Digest): Promise<BlobCondition> => {
    let handle: FileHandle | undefined
    try {
      handle = await open(pathOf(digest), 'r')
      return await judge(digest, handle)
    } catch (error) {
      const code = errorCode(error)
      if (code === 'ENOENT') return 'missing'
      // What the disk can't give back any more is as lost as what it gives back changed.
      if (code === 'EIO' || code === 'EISDIR') return 'damaged'
      throw error
    } finally {
      await handle?.close()
    }
  }
}

interface Places {
  readonly temporary: string
  readonly pathOf: (digest: Digest) => string
  readonly condition: BlobStore['condition']
}

/** Writes the source under a temporary name and gives it its own once it is whole; the temporary name never stays. */
async function takeIn(source: Source, expected: Digest | undefined, places: Places): Promise<Hashed> {
  const temporary = join(places.temporary, `${process.pid}-${randomBytes(8).toString('hex')}.part`)
  try {
    const target = await open(temporary, 'wx', 0o444)
    let hashed: Hashed
    try {
      hashed = await hashSource(source, target)
      refuseOther(hashed, { expected, source })
      await target.sync()
    } finally {
      await target.close()
    }
    const path = places.pathOf(hashed.digest)
    await makeFolder(dirname(path))
    if ((await places.condition(hashed.digest)) === 'sound') await rm(temporary)
    else await rename(temporary, path)
    return hashed
  } catch (error) {
    await rm(temporary, { force: true })
    throw error
  }
}

async function put(source: Source, expected: Digest | undefined, places: Places): Promise<Hashed> {
  const known = 'bytes' in source ? sha256Hex(source.bytes) : expected
  const there = known !== undefined && (await places.condition(known)) === 'sound'
  const hashed = there ? await hashSource(source) : await takeIn(source, expected, places)
  refuseOther(hashed, { expected, source })
  // Also for what was there already: whoever put it may have died before this step.
  await syncFolder(dirname(places.pathOf(hashed.digest)))
  return hashed
}

async function readVerified(path: string, digest: Digest): Promise<Uint8Array> {
  const bytes = await readFile(path).catch((error) => {
    if (errorCode(error) === 'ENOENT') throw new Problem('blob-not-found', `no blob ${digest}`)
    throw error
  })
  const found = sha256Hex(bytes)
  if (found !== digest)
    throw new Problem('blob-damaged', `blob ${digest} is damaged`, { measured: found, limit: digest })
  return bytes
}

/**
 * Opens or creates the store in `folder`; `temporary` is a folder for unfinished blobs in the same file system, whose leftovers of
 * earlier processes are removed. Problems: `data-full`, after which nothing of the blob stays; `file-missing`, `file-path` and
 * `file-digest` for sources. `clock` is compared with file times.
 */
export async function openFolderBlobs({
  folder,
  temporary,
  clock = systemClock,
}: {
  folder: string
  temporary: string
  clock?: Clock
}): Promise<BlobStore> {
  const root = join(folder, 'sha256')
  await whereDiskFills(async () => {
    await makeFolder(root)
    await makeFolder(temporary)
  })
  await removeLeftovers(temporary)
  const pathOf = (digest: Digest) => {
    assert(digestPattern.test(digest), 'only digests name blobs')
    return join(root, digest.slice(0, 2), digest)
  }
  const condition = createJudge({ pathOf, clock })
  return {
    put: (source, expected) => whereDiskFills(() => put(source, expected, { temporary, pathOf, condition })),
    condition,
    async size(digest) {
      return stat(pathOf(digest)).then(
        ({ size }) => size,
        (error) => {
          if (errorCode(error) === 'ENOENT') return undefined
          throw error
        },
      )
    },
    async localFile(digest) {
      const path = pathOf(digest)
      if (!(await stat(path).catch(() => undefined)))
        throw new Problem('blob-not-found', `no blob has the digest ${digest}`)
      return path
    },
    read: (digest) => readVerified(pathOf(digest), digest),
    stream: (digest, range) => createReadStream(pathOf(digest), { highWaterMark: chunkBytes / 4, ...range }),
  }
}
