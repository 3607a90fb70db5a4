// Opens a code index: one sequential read of its file into shared memory, hashed on the way, then a walk through its structure.
import { createHash, type Hash } from 'node:crypto'
import { type FileHandle, open } from 'node:fs/promises'
import { endianness } from 'node:os'
import { assert } from '../../kernel/assert.ts'
import { type Digest, toDigest } from '../../kernel/bytes.ts'
import { type CodeIndex, fromShared, type SharedCodeIndex } from './code-index.ts'
import { decodeDictionary } from './dictionary.ts'
import { badIndex, decodeHeader, headerBytes, type IndexHeader, sectionsOf, trailerBytes } from './index-format.ts'
import { walkIndex } from './index-walk.ts'

export interface OpenOptions {
  /** The digest that the file must have. */
  readonly digest?: Digest
  readonly signal?: AbortSignal
}

/** The event loop waits for the hash of one such piece: some 3 ms. */
const pieceBytes = 4 * 1024 * 1024

/**
 * Reads an index into shared memory and verifies all of it: header, SHA-256, every bucket and row. The file may be gone afterwards.
 * Problem `code-index-bad` where it is damaged, cut, of another version or not what a builder writes.
 */
export async function openCodeIndex(path: string, options: OpenOptions = {}): Promise<CodeIndex> {
  assert(endianness() === 'LE', 'the machine stores numbers as the index file does')
  const handle = await open(path, 'r')
  try {
    const shared = await readIndex(handle, options)
    await walkIndex(shared, options.signal)
    return fromShared(shared)
  } finally {
    await handle.close()
  }
}

async function readIndex(handle: FileHandle, { digest: wanted, signal }: OpenOptions): Promise<SharedCodeIndex> {
  const { size } = await handle.stat()
  const head = Buffer.alloc(Math.min(headerBytes, size))
  await readFully(handle, head, 0)
  const header = decodeHeader(head, size)
  const memory = allocate(header)
  const hash = createHash('sha256').update(head)
  await readThrough({ handle, hash, signal }, memory.all, headerBytes)
  const trailer = Buffer.alloc(trailerBytes)
  await readFully(handle, trailer, sectionsOf(header).trailer)
  if (!hash.copy().digest().equals(trailer))
    throw badIndex('the code index does not have the digest that it states: it is damaged')
  const digest = toDigest(hash.update(trailer).digest('hex'))
  if (wanted !== undefined && digest !== wanted) {
    throw badIndex('the code index is not the one that was asked for', { measured: digest, limit: wanted })
  }
  const pairs = decodeDictionary(memory.dictionary, { print: header.carries.print, rows: header.rows })
  return { digest, header, pairs, directory: memory.directory, chunks: memory.chunks }
}

interface Memory {
  readonly directory: SharedArrayBuffer
  readonly chunks: readonly SharedArrayBuffer[]
  readonly dictionary: Buffer
  /** All of it in the order of the file. */
  readonly all: readonly Buffer[]
}

function allocate({ buckets, arenaWords, chunkBits, dictionaryBytes }: IndexHeader): Memory {
  const chunkWords = 2 ** chunkBits
  const directory = new SharedArrayBuffer(4 * buckets)
  const chunks = Array.from({ length: Math.ceil(arenaWords / chunkWords) }, (_, i) => {
    return new SharedArrayBuffer(4 * Math.min(chunkWords, arenaWords - i * chunkWords))
  })
  const dictionary = Buffer.alloc(dictionaryBytes)
  return {
    directory,
    chunks,
    dictionary,
    all: [Buffer.from(directory), ...chunks.map((chunk) => Buffer.from(chunk)), dictionary],
  }
}

interface Reading {
  readonly handle: FileHandle
  readonly hash: Hash
  readonly signal: AbortSignal | undefined
}

/** Fills the targets from `from` on; a piece is hashed while the next one is read. */
async function readThrough({ handle, hash, signal }: Reading, targets: readonly Buffer[], from: number): Promise<void> {
  let position = from
  let last: Buffer | undefined
  for (const target of targets) {
    for (let at = 0; at < target.length; at += pieceBytes) {
      signal?.throwIfAborted()
      const piece = target.subarray(at, at + pieceBytes)
      const read = readFully(handle, piece, position)
      if (last) hash.update(last)
      await read
      position += piece.length
      last = piece
    }
  }
  if (last) hash.update(last)
}

async function readFully(handle: FileHandle, target: Buffer, position: number): Promise<void> {
  for (let done = 0; done < target.length; ) {
    const { bytesRead } = await handle.read(target, done, target.length - done, position + done)
    if (bytesRead === 0) throw badIndex('the code index ended while it was read', { measured: position + done })
    done += bytesRead
  }
}
