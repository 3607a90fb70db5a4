// A disk that is really full: a small tmpfs, filled up. Nothing half-done may stay, and work goes on once there is room.
import { execFileSync } from 'node:child_process'
import { mkdtemp, readdir, rm, rmdir, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it, type TestContext } from 'vitest'
import { sha256, sha256Hex } from '../../src/kernel/bytes.ts'
import { systemClock } from '../../src/kernel/clock.ts'
import { openInProcessQueue } from '../../src/queue/index.ts'
import { type LedgerBatch, openDataDirectory, openFolderBlobs, openSqlite } from '../../src/storage/index.ts'

let disk: string
let mounted: boolean

beforeEach(async () => {
  disk = await mkdtemp(join(tmpdir(), 'rollcall-disk-'))
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=4m', 'tmpfs', disk], { stdio: 'pipe' })
    mounted = true
  } catch {
    mounted = false
  }
})
afterEach(async () => {
  if (mounted) execFileSync('umount', ['--lazy', disk])
  await rmdir(disk)
})

function needDisk(ctx: TestContext): void {
  if (!mounted) ctx.skip('needs the right to mount a small tmpfs (root)')
}

/** Takes all the room there is. */
async function fill(): Promise<string> {
  const path = join(disk, 'ballast')
  await writeFile(path, Buffer.alloc(8 * 1024 * 1024)).catch(() => undefined)
  return path
}

const textOf = (index: number) => `entry ${index} ${'x'.repeat(500)}`

function batchFrom(firstIndex: number, count: number): LedgerBatch {
  const entries = Array.from({ length: count }, (_, i) => {
    const bytes = Buffer.from(textOf(firstIndex + i))
    return { bytes, leaf: sha256(bytes) }
  })
  return { runId: 'run', epoch: 1, firstIndex, entries, root: sha256Hex(String(firstIndex + count)) }
}

it('refuses an append as data-full, keeps all before it and none of it, and goes on when there is room', async (ctx) => {
  needDisk(ctx)
  const database = await openSqlite({ folder: join(disk, 'db') })
  await database.appendLedger([batchFrom(0, 10)])
  const ballast = await fill()
  let size = 10
  const appendUntilFull = async () => {
    for (;;) {
      await database.appendLedger([batchFrom(size, 20)])
      size += 20
    }
  }
  await expect(appendUntilFull()).rejects.toMatchObject({ code: 'data-full' })
  await expect(database.appendLedger([batchFrom(size, 20)])).rejects.toMatchObject({ code: 'data-full' })
  expect(await database.ledgerHead('run')).toMatchObject({ treeSize: size })
  await rm(ballast)
  await database.appendLedger([batchFrom(size, 20)])
  await database.close()
  const again = await openSqlite({ folder: join(disk, 'db') })
  const rows = await again.readLedger({ runId: 'run', from: 0, count: 100_000 })
  expect(rows.map(({ bytes }) => Buffer.from(bytes).toString())).toEqual(
    Array.from({ length: size + 20 }, (_, index) => textOf(index)),
  )
  await again.close()
})

it('refuses to enqueue as data-full, alone or in a group, and does the rest when there is room', async (ctx) => {
  needDisk(ctx)
  const database = await openSqlite({ folder: join(disk, 'db') })
  const queue = openInProcessQueue({ database, clock: systemClock })
  const payload = 'x'.repeat(20_000)
  const ballast = await fill()
  const taken: string[] = []
  const enqueueUntilFull = async () => {
    for (let group = 0; ; group += 1) {
      const ids = [0, 1, 2].map((i) => `piece-${group}-${i}`)
      await Promise.all(ids.map((id) => queue.enqueue({ id, kind: 'note', payload })))
      taken.push(...ids)
    }
  }
  await expect(enqueueUntilFull()).rejects.toMatchObject({ code: 'data-full' })
  await expect(queue.enqueue({ id: 'late', kind: 'note', payload })).rejects.toMatchObject({ code: 'data-full' })
  expect((await queue.list({ count: 1_000 })).map(({ id }) => id).sort()).toEqual(taken.sort())
  await rm(ballast)
  await queue.enqueue({ id: 'late', kind: 'note', payload })
  queue.handle('note', 2, async () => 'done')
  await queue.start()
  for (const id of [...taken, 'late']) expect(await queue.ended(id)).toMatchObject({ state: 'done' })
  await queue.close()
  await database.close()
})

it('keeps nothing of a blob that does not fit, and takes it once there is room', async (ctx) => {
  needDisk(ctx)
  const folder = join(disk, 'blobs')
  const temporary = join(folder, 'temporary')
  const blobs = await openFolderBlobs({ folder, temporary })
  const bytes = Buffer.alloc(3_000_000, 'layer')
  const ballast = join(disk, 'ballast')
  await writeFile(ballast, Buffer.alloc(2_000_000))
  await expect(blobs.put({ bytes })).rejects.toMatchObject({ code: 'data-full' })
  expect(await readdir(temporary)).toEqual([])
  expect(await blobs.condition(sha256Hex(bytes))).toBe('missing')
  await rm(ballast)
  await blobs.put({ bytes })
  expect(await blobs.condition(sha256Hex(bytes))).toBe('sound')
})

it('says data-full when a data directory or its database cannot be created', async (ctx) => {
  needDisk(ctx)
  await fill()
  await expect(openDataDirectory(join(disk, 'data'))).rejects.toMatchObject({ code: 'data-full' })
  await expect(openSqlite({ folder: disk })).rejects.toMatchObject({ code: 'data-full' })
})
