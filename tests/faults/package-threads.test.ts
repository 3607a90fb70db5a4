// Packages in real worker threads: the same answers as in one thread, and nothing left when a thread is ended.
import { writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { Problem } from '../../src/kernel/problem.ts'
import { openPackages, type Packages } from '../../src/packages/index.ts'
import { drawPreview } from '../../src/packages/preview.ts'
import { openThreads, type Threads } from '../../src/queue/index.ts'
import { openPackageBench, type PackageBench, plainDraft, problemOf, writeDraft } from '../fixtures/packages.ts'

let bench: PackageBench
let threads: Threads
let packages: Packages
beforeAll(async () => {
  bench = await openPackageBench()
  threads = openThreads({ script: new URL('../../workers/check-package.ts', import.meta.url), count: 2 })
  packages = openPackages({ ...bench.deps, threads })
})
afterAll(async () => {
  await threads.close()
  await bench.close()
})

describe('in threads', () => {
  it('a bad package has the findings that it has in one thread', async () => {
    const draft = await plainDraft()
    draft.files.set('LIME/relief.png', Buffer.from('no picture'))
    draft.files.set('extra', Buffer.from('x'))
    draft.manifest.frame.cells[1]!.leftMm = 40
    const path = await bench.source()
    await writeDraft(path, draft)
    const report = await packages.check({ path })
    expect(report).toEqual(await bench.packages.check({ path }))
    expect(report.findings.length).toBeGreaterThan(2)
  })

  it('a problem of taking in arrives as a problem', async () => {
    const path = join(await bench.source(), 'a.zip')
    await writeFile(path, 'no zip')
    const problem = await problemOf(packages.publish({ path, by: 'Ann' }))
    expect(problem).toBeInstanceOf(Problem)
    expect(problem.code).toBe('zip-bad')
  })

  it('a package that is given up leaves nothing, and one after it is published with its preview', async () => {
    const path = await bench.source()
    await writeDraft(path, await plainDraft())
    const stop = new AbortController()
    const work = packages.publish({
      path,
      by: 'Ann',
      signal: stop.signal,
      progress: (_, note) => note === 'checking the layers' && stop.abort(new Error('enough')),
    })
    await expect(work).rejects.toThrow('enough')
    expect(await bench.left()).toEqual({ staged: 0, blobs: 0, packages: 0 })
    await expect(packages.publish({ path, by: 'Ann' })).resolves.toMatchObject({ outcome: 'published' })
    const job = bench.catalogue.current().jobs.get('J7')!
    const version = job.designs.get('LIME')![0]!
    const drawn = await drawPreview(version, job.frame, { blobs: bench.blobs, threads })
    expect(Buffer.compare(drawn, await drawPreview(version, job.frame, bench.deps))).toBe(0)
  })
})
