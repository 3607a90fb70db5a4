// The watched folder against slow, broken and repeated deliveries, changes under its hands, and restarts.

import assert from 'node:assert/strict'
import { utimesSync } from 'node:fs'
import { appendFile, copyFile, mkdir, readdir, readFile, rename, truncate, utimes, writeFile } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { type Clock, systemClock, systemRandom } from '../../src/kernel/clock.ts'
import {
  inlineThreads,
  openCatalogue,
  openPackages,
  openWatchedFolder,
  type PackageTask,
  type PackageThreads,
  publishHandler,
  type WatchedEvent,
  type WatchedFolder,
  type WatchedFolderOptions,
} from '../../src/packages/index.ts'
import { intakeLimits } from '../../src/packages/staging.ts'
import { openInProcessQueue, type WorkQueue } from '../../src/queue/index.ts'
import {
  type Draft,
  draftFiles,
  openPackageBench,
  type PackageBench,
  plainDraft,
  writeDraft,
} from '../fixtures/packages.ts'
import { zipOfFiles } from '../fixtures/zips.ts'

let bench: PackageBench
let queue: WorkQueue
let folder: WatchedFolder
let nowMs: number
let events: WatchedEvent[]
const closers: (() => Promise<void>)[] = []

const clock: Clock = { nowMs: () => systemClock.nowMs(), monotonicMs: () => nowMs }

async function openAll(
  change: Partial<WatchedFolderOptions> & { deps?: Partial<PackageBench['deps']> } = {},
): Promise<void> {
  const { deps: changedDeps, ...options } = change
  queue = openInProcessQueue({ database: bench.database, clock: systemClock, pauseMs: () => 5 })
  const catalogue = await openCatalogue(bench)
  const packages = openPackages({ ...bench.deps, catalogue, ...changedDeps })
  queue.handle('publish', 1, publishHandler({ packages, catalogue, queue }))
  queue.handle('preview', 1, async () => undefined)
  await queue.start()
  const { intake, refused } = bench
  const report = (event: WatchedEvent): void => void events.push(event)
  folder = openWatchedFolder({
    intake,
    refused,
    queue,
    threads: inlineThreads,
    clock,
    random: systemRandom,
    intervalMs: 0,
    listen: false,
    report,
    ...options,
  })
  closers.push(
    () => folder.close(),
    () => queue.close(),
  )
}

async function closeAll(): Promise<void> {
  for (const close of closers.splice(0)) await close()
}

beforeEach(async () => {
  bench = await openPackageBench()
  nowMs = 1_000
  events = []
  await openAll()
})
afterEach(async () => {
  await closeAll()
  await bench.close()
})

/** Looks, and waits for what comes of it. */
async function look(): Promise<void> {
  await folder.scan()
  await folder.settled()
}

const said = (): string[] =>
  events.map((event) => {
    if (event.event === 'published') return `${event.published.outcome} ${event.name}`
    if (event.event === 'trouble') return `trouble ${event.message}`
    return `${event.event} ${event.name}: ${(event.problem.findings ?? [event.problem]).map(({ code }) => code).join(' ')}`
  })

/** Writes a package aside and moves it in under one name, as careful senders do. */
async function moveIn(draft: Draft, name = 'delivery'): Promise<void> {
  const aside = await bench.source()
  await writeDraft(aside, draft)
  await rename(aside, join(bench.intake, name))
}

async function put(name: string, bytes: Uint8Array): Promise<void> {
  const path = join(bench.intake, 'delivery', name)
  await mkdir(dirname(path), { recursive: true })
  await writeFile(path, bytes)
}

describe('a delivery', () => {
  it('that is moved in whole is published at first sight, and removed', async () => {
    await moveIn(await plainDraft())
    await look()
    expect(said()).toEqual(['published delivery'])
    expect(await readdir(bench.intake)).toEqual([])
    expect(await bench.left()).toEqual({ staged: 0, blobs: 4, packages: 1 })
  })

  it('as a ZIP is published once it did not change between two looks', async () => {
    await writeFile(join(bench.intake, 'a.zip'), zipOfFiles(draftFiles(await plainDraft())))
    await look()
    expect(said()).toEqual([])
    await look()
    expect(said()).toEqual(['published a.zip'])
    expect(await readdir(bench.intake)).toEqual([])
  })

  it.each([
    ['first', (names: string[]) => names.sort((a, b) => Number(b === 'job.json') - Number(a === 'job.json'))],
    ['last', (names: string[]) => names.sort((a, b) => Number(a === 'job.json') - Number(b === 'job.json'))],
  ])('that is copied slowly, the manifest %s, is published when the last file is whole', async (_, order) => {
    const files = draftFiles(await plainDraft())
    for (const name of order([...files.keys()])) {
      const bytes = files.get(name)!
      await look()
      expect(said()).toEqual([])
      await put(name, bytes.subarray(0, Math.floor(bytes.length / 2)))
      nowMs += 20_000
      await look()
      expect(said()).toEqual([])
      await put(name, bytes)
      nowMs += 20_000
    }
    await look()
    await look()
    expect(said()).toEqual(['published delivery'])
  })

  it('as a ZIP that is copied slowly is not touched before its end is there', async () => {
    const bytes = zipOfFiles(draftFiles(await plainDraft()))
    const path = join(bench.intake, 'a.zip')
    await writeFile(path, '')
    for (let at = 0; at < bytes.length; at += Math.ceil(bytes.length / 4)) {
      await appendFile(path, bytes.subarray(at, at + Math.ceil(bytes.length / 4)))
      await look()
      nowMs += 20_000
      expect(said()).toEqual([])
    }
    await look()
    expect(said()).toEqual(['published a.zip'])
  })

  it('that stays half is judged as it stands once nothing changed for long, and refused with its findings beside it', async () => {
    await moveIn(await plainDraft())
    await truncate(join(bench.intake, 'delivery/LIME/relief.png'), 40)
    await look()
    nowMs += 29_999
    await look()
    expect(said()).toEqual([])
    nowMs += 1
    await look()
    expect(said()).toEqual(['refused delivery: file-digest'])
    const beside = join(bench.refused, 'delivery-1')
    expect((await readdir(beside)).sort()).toEqual(['delivery', 'findings.json', 'findings.txt'])
    expect(JSON.parse(await readFile(join(beside, 'findings.json'), 'utf8'))).toMatchObject({
      code: 'package-refused',
      status: 422,
      findings: [{ code: 'file-digest', file: 'LIME/relief.png' }],
    })
    expect(await readFile(join(beside, 'findings.txt'), 'utf8')).toContain('LIME/relief.png')
    expect(await readdir(bench.intake)).toEqual([])
    expect(await bench.left()).toEqual({ staged: 0, blobs: 0, packages: 0 })
  })

  it.each([
    ['a manifest that is not JSON', 'job.json', '{"job":', 'manifest-not-json'],
    ['no manifest', 'readme.txt', 'hello', 'manifest-missing'],
  ])('with %s waits as long, and is refused', async (_, name, text, code) => {
    await put(name, Buffer.from(text))
    await look()
    expect(said()).toEqual([])
    nowMs += 30_000
    await look()
    expect(said()).toEqual([`refused delivery: ${code}`])
  })

  it('of a file that is no ZIP waits as long, and is refused', async () => {
    await writeFile(join(bench.intake, 'holiday.txt'), 'not a zip')
    await look()
    await look()
    nowMs += 30_000
    await look()
    expect(said()).toEqual(['refused holiday.txt: zip-bad'])
  })

  it('that is whole but bad is refused at first sight', async () => {
    const draft = await plainDraft()
    draft.manifest.frame.pitchMm = 14
    await moveIn(draft)
    await look()
    expect(said()[0]).toMatch(/^refused delivery: cell-off-web/)
  })

  it('of the same twice is a no-op that says so', async () => {
    for (const name of ['one', 'two']) {
      await moveIn(await plainDraft(), name)
      await look()
    }
    expect(said()).toEqual(['published one', 'unchanged two'])
    expect(await readdir(bench.intake)).toEqual([])
  })

  it('that was refused can be mended and put in again, under the same name', async () => {
    const draft = await plainDraft()
    draft.files.set('extra.txt', Buffer.from('x'))
    await moveIn(draft)
    await look()
    await moveIn(draft)
    await look()
    draft.files.delete('extra.txt')
    await moveIn(draft)
    await look()
    expect(said()).toEqual(['refused delivery: file-extra', 'refused delivery: file-extra', 'published delivery'])
    expect((await readdir(bench.refused)).sort()).toEqual(['delivery-1', 'delivery-2'])
  })

  it('that was refused and is moved back as it is gets another try', async () => {
    const draft = await plainDraft()
    await moveIn(await plainDraft(), 'first')
    await look()
    draft.manifest.title = 'Another'
    await moveIn(draft)
    await look()
    await rename(join(bench.refused, 'delivery-1/delivery'), join(bench.intake, 'delivery'))
    await look()
    const refusal = 'refused delivery: package-number-not-higher'
    expect(said()).toEqual(['published first', refusal, refusal])
  })

  it('that is still named as unfinished or hidden is let be', async () => {
    for (const name of ['.hidden', 'a.zip.part', 'b.TMP']) await writeFile(join(bench.intake, name), 'x')
    nowMs += 100_000
    await look()
    nowMs += 100_000
    await look()
    expect(said()).toEqual([])
    expect((await readdir(bench.intake)).sort()).toEqual(['.hidden', 'a.zip.part', 'b.TMP'])
  })

  it('beside a bad one is not held up by it', async () => {
    await writeFile(join(bench.intake, 'a.zip'), 'bad')
    await moveIn(await plainDraft(), 'b')
    await look()
    expect(said()).toEqual(['published b'])
  })
})

describe('a delivery that changes', () => {
  it('while it is read is read again by the queue, and published when it rests', async () => {
    await closeAll()
    let changes = 2
    const held = {
      ...intakeLimits,
      get filesMax() {
        const later = new Date(systemClock.nowMs() + 1_000 * changes)
        if (changes > 0) utimesSync(join(bench.intake, 'delivery/LIME/gold.png'), later, later)
        changes -= 1
        return intakeLimits.filesMax
      },
    }
    await openAll({ deps: { held } })
    await moveIn(await plainDraft())
    await look()
    // Its times changed while it was judged, so it is looked at once more, and found published.
    await look()
    await look()
    expect(said()).toEqual(['unchanged delivery'])
    expect((await bench.left()).packages).toBe(1)
    expect(await readdir(bench.intake)).toEqual([])
  })

  it('after it was published is not removed, but judged as what it has become', async () => {
    await closeAll()
    let hasChanged = false
    const threads: PackageThreads = {
      async run(task) {
        const result = await inlineThreads.run(task)
        if ((task as PackageTask).task === 'layers' && !hasChanged) {
          hasChanged = true
          await appendFile(join(bench.intake, 'delivery/PLUM/gold.png'), 'x')
        }
        return result
      },
    }
    await openAll({ deps: { threads } })
    await moveIn(await plainDraft())
    await look()
    expect(said()).toEqual([])
    expect(await readdir(bench.intake)).toEqual(['delivery'])
    expect((await bench.left()).packages).toBe(1)
    await look()
    nowMs += 30_000
    await look()
    expect(said()[0]).toMatch(/^refused delivery: .*file-digest/)
  })
})

describe('hashing', () => {
  it('is not repeated for files that did not change', async () => {
    await closeAll()
    const hashed: string[] = []
    const threads: PackageThreads = {
      run(task) {
        const one = task as PackageTask
        if (one.task === 'digests') hashed.push(...one.paths.map((path) => path.slice(bench.intake.length + 1)))
        return inlineThreads.run(task)
      },
    }
    await openAll({ threads })
    const draft = await plainDraft()
    await moveIn(draft)
    const last = join(bench.intake, 'delivery/PLUM/gold.png')
    await truncate(last, 10)
    await look()
    expect(hashed).toHaveLength(4)
    await look()
    await look()
    expect(hashed).toHaveLength(4)
    await utimes(last, new Date(), new Date(1_600_000_000_000))
    await look()
    await writeFile(last, draft.files.get('PLUM/gold.png')!)
    await look()
    await look()
    expect(hashed.slice(4)).toEqual(['delivery/PLUM/gold.png'])
    expect(said()).toEqual(['published delivery'])
  })
})

describe('after a restart', () => {
  it('a delivery whose publishing was cut off is published once', async () => {
    await closeAll()
    let cut = true
    const threads: PackageThreads = {
      async run(task, options) {
        if (cut && (task as PackageTask).task === 'layers') {
          await new Promise((_, reject) =>
            options?.signal?.addEventListener('abort', () => reject(options.signal?.reason)),
          )
        }
        return inlineThreads.run(task)
      },
    }
    await openAll({ deps: { threads } })
    await moveIn(await plainDraft())
    await folder.scan()
    await vi.waitFor(async () => expect((await queue.counts()).running).toBe(1))
    await closeAll()
    expect((await bench.left()).packages).toBe(0)
    cut = false
    await openAll({ deps: { threads } })
    await look()
    expect(said()).toEqual(['published delivery'])
    expect(await bench.left()).toMatchObject({ staged: 0, packages: 1 })
  })

  it('a delivery that was published, but not yet removed, is removed', async () => {
    await moveIn(await plainDraft())
    await closeAll()
    // Ends as a crash would, between the record that the work is done and the removal.
    await openAll({ random: () => assert.fail('the process died') })
    await look()
    expect(said()).toEqual(['trouble the process died'])
    expect(await readdir(bench.intake)).toEqual(['delivery'])
    await closeAll()
    await openAll()
    await look()
    expect(said().slice(1)).toEqual(['published delivery'])
    expect(await readdir(bench.intake)).toEqual([])
    expect((await bench.left()).packages).toBe(1)
  })

  it('leftovers of removing and refusing are completed', async () => {
    await closeAll()
    await mkdir(join(bench.intake, '.done-0011'))
    await writeFile(join(bench.intake, '.done-0011/job.json'), 'x')
    await mkdir(join(bench.refused, '.refusal-0011'))
    await writeFile(join(bench.refused, '.refusal-0011/a.zip'), 'x')
    await openAll()
    await folder.start()
    expect(await readdir(bench.intake)).toEqual([])
    expect(await readdir(bench.refused)).toEqual(['a.zip-1'])
  })

  it('a refused delivery that was not yet moved is moved', async () => {
    const draft = await plainDraft()
    draft.files.set('extra.txt', Buffer.from('x'))
    await closeAll()
    const blind = join(bench.folder, 'not-there')
    await openAll({ refused: blind })
    await moveIn(draft)
    await look()
    expect(said()[0]).toMatch(/^trouble ENOENT/)
    expect(await readdir(bench.intake)).toEqual(['delivery'])
    await closeAll()
    events = []
    await openAll()
    await look()
    expect(said()).toEqual(['refused delivery: file-extra'])
  })
})

describe('a delivery that cannot be published for now', () => {
  it('stays where it is, is told, and is not tried again before it changes', async () => {
    await closeAll()
    let tries = 0
    const threads: PackageThreads = {
      run(task) {
        if ((task as PackageTask).task !== 'open') return inlineThreads.run(task)
        tries += 1
        return Promise.reject(new Error('the thread died'))
      },
    }
    await openAll({ deps: { threads } })
    await moveIn(await plainDraft())
    await look()
    await look()
    expect(said()).toEqual(['left delivery: internal'])
    expect(tries).toBe(5)
    expect(await readdir(bench.intake)).toEqual(['delivery'])
  })
})

describe('watching on its own', () => {
  it('hears of a delivery by an event, long before the next regular look', async () => {
    await closeAll()
    await openAll({ intervalMs: 600_000, listen: true, clock: systemClock })
    await folder.start()
    await moveIn(await plainDraft())
    await vi.waitFor(() => expect(said()).toEqual(['published delivery']), { timeout: 20_000 })
  })

  it('finds a delivery by regular looks alone', async () => {
    await closeAll()
    await openAll({ intervalMs: 20, clock: systemClock })
    await folder.start()
    const path = join(bench.intake, 'a.zip')
    await writeFile(`${path}.part`, zipOfFiles(draftFiles(await plainDraft())))
    await copyFile(`${path}.part`, path)
    await vi.waitFor(() => expect(said()).toEqual(['published a.zip']), { timeout: 20_000 })
  })
})
