// The watched folder when deliveries change under its hands, when it is restarted, and left to itself.
import assert from 'node:assert/strict'
import { utimesSync } from 'node:fs'
import { appendFile, copyFile, mkdir, readdir, truncate, utimes, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { systemClock } from '../../src/kernel/clock.ts'
import { inlineThreads, type PackageTask, type PackageThreads } from '../../src/packages/index.ts'
import { intakeLimits } from '../../src/packages/staging.ts'
import { draftFiles, plainDraft } from '../fixtures/packages.ts'
import { createWatchBench } from '../fixtures/watch-bench.ts'
import { zipOfFiles } from '../fixtures/zips.ts'

const w = createWatchBench()
beforeEach(() => w.setUp())
afterEach(() => w.tearDown())

describe('a delivery that changes', () => {
  it('while it is read is read again by the queue, and published when it rests', async () => {
    await w.close()
    let changes = 2
    const held = {
      ...intakeLimits,
      get filesMax() {
        const later = new Date(systemClock.nowMs() + 1_000 * changes)
        if (changes > 0) utimesSync(join(w.bench.intake, 'delivery/LIME/gold.png'), later, later)
        changes -= 1
        return intakeLimits.filesMax
      },
    }
    await w.open({ deps: { held } })
    await w.moveIn(await plainDraft())
    await w.look()
    // Its times changed while it was judged, so it is looked at once more, and found published.
    await w.look()
    await w.look()
    expect(w.said()).toEqual(['unchanged delivery'])
    expect((await w.bench.left()).packages).toBe(1)
    expect(await readdir(w.bench.intake)).toEqual([])
  })

  it('after it was published is not removed, but judged as what it has become', async () => {
    await w.close()
    let hasChanged = false
    const threads: PackageThreads = {
      async run(task) {
        const result = await inlineThreads.run(task)
        if ((task as PackageTask).task === 'layers' && !hasChanged) {
          hasChanged = true
          await appendFile(join(w.bench.intake, 'delivery/PLUM/gold.png'), 'x')
        }
        return result
      },
    }
    await w.open({ deps: { threads } })
    await w.moveIn(await plainDraft())
    await w.look()
    expect(w.said()).toEqual([])
    expect(await readdir(w.bench.intake)).toEqual(['delivery'])
    expect((await w.bench.left()).packages).toBe(1)
    await w.look()
    w.nowMs += 30_000
    await w.look()
    expect(w.said()[0]).toMatch(/^refused delivery: .*file-digest/)
  })
})

describe('hashing', () => {
  it('is not repeated for files that did not change', async () => {
    await w.close()
    const hashed: string[] = []
    const threads: PackageThreads = {
      run(task) {
        const one = task as PackageTask
        if (one.task === 'digests') hashed.push(...one.paths.map((path) => path.slice(w.bench.intake.length + 1)))
        return inlineThreads.run(task)
      },
    }
    await w.open({ threads })
    const draft = await plainDraft()
    await w.moveIn(draft)
    const last = join(w.bench.intake, 'delivery/PLUM/gold.png')
    await truncate(last, 10)
    await w.look()
    expect(hashed).toHaveLength(4)
    await w.look()
    await w.look()
    expect(hashed).toHaveLength(4)
    await utimes(last, new Date(), new Date(1_600_000_000_000))
    await w.look()
    await writeFile(last, draft.files.get('PLUM/gold.png')!)
    await w.look()
    await w.look()
    expect(hashed.slice(4)).toEqual(['delivery/PLUM/gold.png'])
    expect(w.said()).toEqual(['published delivery'])
  })
})

describe('after a restart', () => {
  it('a delivery whose publishing was cut off is published once', async () => {
    await w.close()
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
    await w.open({ deps: { threads } })
    await w.moveIn(await plainDraft())
    await w.folder.scan()
    await vi.waitFor(async () => expect((await w.queue.counts()).running).toBe(1))
    await w.close()
    expect((await w.bench.left()).packages).toBe(0)
    cut = false
    await w.open({ deps: { threads } })
    await w.look()
    expect(w.said()).toEqual(['published delivery'])
    expect(await w.bench.left()).toMatchObject({ staged: 0, packages: 1 })
  })

  it('a delivery that was published, but not yet removed, is removed', async () => {
    await w.moveIn(await plainDraft())
    await w.close()
    // Ends as a crash would, between the record that the work is done and the removal.
    await w.open({ random: () => assert.fail('the process died') })
    await w.look()
    expect(w.said()).toEqual(['trouble the process died'])
    expect(await readdir(w.bench.intake)).toEqual(['delivery'])
    await w.close()
    await w.open()
    await w.look()
    expect(w.said().slice(1)).toEqual(['published delivery'])
    expect(await readdir(w.bench.intake)).toEqual([])
    expect((await w.bench.left()).packages).toBe(1)
  })

  it('leftovers of removing and refusing are completed', async () => {
    await w.close()
    await mkdir(join(w.bench.intake, '.done-0011'))
    await writeFile(join(w.bench.intake, '.done-0011/job.json'), 'x')
    await mkdir(join(w.bench.refused, '.refusal-0011'))
    await writeFile(join(w.bench.refused, '.refusal-0011/a.zip'), 'x')
    await w.open()
    await w.folder.start()
    expect(await readdir(w.bench.intake)).toEqual([])
    expect(await readdir(w.bench.refused)).toEqual(['a.zip-1'])
  })

  it('a refused delivery that was not yet moved is moved', async () => {
    const draft = await plainDraft()
    draft.files.set('extra.txt', Buffer.from('x'))
    await w.close()
    const blind = join(w.bench.folder, 'not-there')
    await w.open({ refused: blind })
    await w.moveIn(draft)
    await w.look()
    expect(w.said()[0]).toMatch(/^trouble ENOENT/)
    expect(await readdir(w.bench.intake)).toEqual(['delivery'])
    await w.close()
    w.events = []
    await w.open()
    await w.look()
    expect(w.said()).toEqual(['refused delivery: file-extra'])
  })
})

describe('a delivery that cannot be published for now', () => {
  it('stays where it is, is told, and is not tried again before it changes', async () => {
    await w.close()
    let tries = 0
    const threads: PackageThreads = {
      run(task) {
        if ((task as PackageTask).task !== 'open') return inlineThreads.run(task)
        tries += 1
        return Promise.reject(new Error('the thread died'))
      },
    }
    await w.open({ deps: { threads } })
    await w.moveIn(await plainDraft())
    await w.look()
    await w.look()
    expect(w.said()).toEqual(['left delivery: internal'])
    expect(tries).toBe(5)
    expect(await readdir(w.bench.intake)).toEqual(['delivery'])
  })
})

describe('watching on its own', () => {
  it('hears of a delivery by an event, long before the next regular look', async () => {
    await w.close()
    await w.open({ intervalMs: 600_000, listen: true, clock: systemClock })
    await w.folder.start()
    await w.moveIn(await plainDraft())
    await vi.waitFor(() => expect(w.said()).toEqual(['published delivery']), { timeout: 20_000 })
  })

  it('finds a delivery by regular looks alone', async () => {
    await w.close()
    await w.open({ intervalMs: 20, clock: systemClock })
    await w.folder.start()
    const path = join(w.bench.intake, 'a.zip')
    await writeFile(`${path}.part`, zipOfFiles(draftFiles(await plainDraft())))
    await copyFile(`${path}.part`, path)
    await vi.waitFor(() => expect(w.said()).toEqual(['published a.zip']), { timeout: 20_000 })
  })
})
