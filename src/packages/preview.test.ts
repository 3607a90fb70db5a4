// Previews: drawn after publishing, kept as blobs, showing what lies where.
import sharp from 'sharp'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import {
  grayImage,
  openPackageBench,
  type PackageBench,
  plainDraft,
  writeDraft,
} from '../../tests/fixtures/packages.ts'
import { systemClock } from '../kernel/clock.ts'
import { openInProcessQueue, type WorkQueue } from '../queue/index.ts'
import { openPackages, previewHandler, previewOf, publishHandler, publishOrder } from './index.ts'
import { drawPreview } from './preview.ts'

let bench: PackageBench
let queue: WorkQueue
beforeEach(async () => {
  bench = await openPackageBench()
  queue = openInProcessQueue({ database: bench.database, clock: systemClock })
  const { catalogue, deps } = bench
  queue.handle('publish', 1, publishHandler({ packages: openPackages(deps), catalogue, queue }))
  queue.handle('preview', 1, previewHandler(deps))
  await queue.start()
})
afterEach(async () => {
  await queue.close()
  await bench.close()
})

const pixelAt = async (png: Uint8Array, x: number, y: number): Promise<number[]> => {
  const { data, info } = await sharp(png).removeAlpha().raw().toBuffer({ resolveWithObject: true })
  return [...data.subarray((y * info.width + x) * 3, (y * info.width + x) * 3 + 3)]
}

describe('a preview', () => {
  it('is drawn after publishing, as a PNG of 512 pixels on the longer side, and kept as a blob', async () => {
    const path = await bench.source()
    await writeDraft(path, await plainDraft())
    const order = publishOrder({ path, by: 'Ann', identity: 'one' })
    await queue.enqueue(order)
    expect(await queue.ended(order.id)).toMatchObject({ state: 'done', result: { outcome: 'published' } })
    const previews = await queue.list({ kind: 'preview', count: 10 })
    for (const { id } of previews) expect(await queue.ended(id)).toMatchObject({ state: 'done' })
    expect(previews).toHaveLength(2)
    const digest = await previewOf(bench.database, { job: 'J7', design: 'LIME', version: 1 })
    const png = await bench.blobs.read(digest!)
    expect(await sharp(png).metadata()).toMatchObject({ format: 'png', width: 512, height: 307 })
  })

  it('shows paper, varnish and foil in their places', async () => {
    await bench.publish(await plainDraft())
    const job = bench.catalogue.current().jobs.get('J7')!
    const png = await drawPreview(job.designs.get('LIME')![0]!, job.frame, bench.deps)
    // 25.6 pixels a millimetre: bare paper at (18, 10) mm, varnish at (8, 6), foil at (4, 6).
    const [paper, varnish, foil] = await Promise.all([
      pixelAt(png, 460, 256),
      pixelAt(png, 205, 154),
      pixelAt(png, 102, 154),
    ])
    expect(paper).toEqual([247, 245, 240])
    expect(varnish).not.toEqual(paper)
    expect(foil![2]!).toBeLessThan(foil![0]! - 50)
  })

  it('shows a common layer cut to the cell and turned with it', async () => {
    const draft = await plainDraft()
    const { frame, designs } = draft.manifest
    Object.assign(frame, { pitchMm: 30, webWidthMm: 50 })
    Object.assign(frame.cells[0]!, { widthMm: 12, heightMm: 20, rotateDeg: 90 })
    Object.assign(frame.cells[1]!, { leftMm: 30, widthMm: 12, heightMm: 20, rotateDeg: 90 })
    frame.codeAt.quietMm = 0
    delete frame.eyeMark
    designs.splice(1)
    for (const file of ['PLUM/gold.png', 'PLUM/relief.png']) draft.files.delete(file)
    // A common flood over the right half of cell 1 as printed (8 to 14 mm across), which is the upper half of its label.
    const { foil: _, ...layer } = designs[0]!.layers[1]!
    designs[0]!.layers[1] = {
      ...layer,
      station: 'inkjet',
      scope: 'common',
      heightUm: 100,
      placement: { leftMm: 0, topMm: 0, widthMm: 50, heightMm: 30 },
    }
    draft.files.set(
      'LIME/gold.png',
      await grayImage({ width: 500, height: 300 }, (x) => (x >= 80 && x < 140 ? 255 : 0))
        .png()
        .toBuffer(),
    )
    draft.files.set(
      'LIME/relief.png',
      await grayImage({ width: 200, height: 120 }, () => 0)
        .png()
        .toBuffer(),
    )
    await bench.publish(draft)
    const job = bench.catalogue.current().jobs.get('J7')!
    const png = await drawPreview(job.designs.get('LIME')![0]!, job.frame, bench.deps)
    expect(await sharp(png).metadata()).toMatchObject({ width: 512, height: 307 })
    expect(await pixelAt(png, 256, 230)).toEqual([247, 245, 240])
    expect(await pixelAt(png, 256, 76)).not.toEqual([247, 245, 240])
  })
})
