// What is particular to blobs in a folder. The rest is the contract in tests/contract/blobs.suite.ts.
import { chmod, mkdir, mkdtemp, readdir, readFile, rm, stat, utimes, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { sha256Hex } from '../kernel/bytes.ts'
import { systemClock } from '../kernel/clock.ts'
import { openFolderBlobs } from './blobs.ts'

let where: string
let folder: string
let temporary: string

beforeEach(async () => {
  where = await mkdtemp(join(tmpdir(), 'rollcall-folder-'))
  folder = join(where, 'blobs')
  temporary = join(folder, 'temporary')
})
afterEach(() => rm(where, { recursive: true }))

const bytes = Buffer.alloc(3_000_000, 'layer')
const digest = sha256Hex(bytes)
const path = () => join(folder, 'sha256', digest.slice(0, 2), digest)

it('stores a blob under its digest as a file that nobody may write', async () => {
  const blobs = await openFolderBlobs({ folder, temporary })
  await blobs.put({ bytes })
  expect((await readFile(path())).equals(bytes)).toBe(true)
  expect((await stat(path())).mode & 0o222).toBe(0)
})

it('removes unfinished blobs of earlier processes when it opens, and no younger ones', async () => {
  await mkdir(temporary, { recursive: true })
  await writeFile(join(temporary, 'old.part'), 'x')
  await utimes(join(temporary, 'old.part'), 1_000, 1_000)
  await writeFile(join(temporary, 'young.part'), 'x')
  await openFolderBlobs({ folder, temporary })
  expect(await readdir(temporary)).toEqual(['young.part'])
})

/** Bytes that this process has read so far, through any call (proc(5): rchar). */
async function bytesRead(): Promise<number | undefined> {
  const text = await readFile('/proc/self/io', 'utf8').catch(() => '')
  const found = /^rchar: (\d+)$/m.exec(text)?.[1]
  return found === undefined ? undefined : Number(found)
}

async function readBy(step: () => Promise<unknown>): Promise<number> {
  const before = (await bytesRead()) ?? 0
  await step()
  return ((await bytesRead()) ?? 0) - before
}

const noCount = 'this system does not tell how much a process reads'

it('reads a sound blob once, and again only after its file changed', async (ctx) => {
  if ((await bytesRead()) === undefined) return ctx.skip(noCount)
  const ahead = { ...systemClock, nowMs: () => Date.now() + 60_000 }
  const blobs = await openFolderBlobs({ folder, temporary, clock: ahead })
  await blobs.put({ bytes })
  expect(await readBy(() => blobs.condition(digest))).toBeGreaterThanOrEqual(bytes.length)
  expect(await readBy(() => blobs.condition(digest))).toBeLessThan(100_000)
  await chmod(path(), 0o400)
  expect(await readBy(() => blobs.condition(digest))).toBeGreaterThanOrEqual(bytes.length)
  expect(await readBy(() => blobs.put({ bytes }))).toBeLessThan(100_000)
})

it('reads a sound blob again while its file is so young that a change might not show in its times', async (ctx) => {
  if ((await bytesRead()) === undefined) return ctx.skip(noCount)
  const nowMs = Date.now()
  const blobs = await openFolderBlobs({ folder, temporary, clock: { ...systemClock, nowMs: () => nowMs } })
  await blobs.put({ bytes })
  expect(await blobs.condition(digest)).toBe('sound')
  expect(await readBy(() => blobs.condition(digest))).toBeGreaterThanOrEqual(bytes.length)
})
