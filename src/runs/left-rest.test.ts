// A roll that was left before its end: the rest was not run, can be run later, and nothing is taken behind it. From a real run.
import path from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, pitchMm, short, ticket } from '../../tests/fixtures/runs.ts'
import { systemClock } from '../kernel/clock.ts'
import { putTicket } from '../lines/index.ts'
import { openFolderBlobs } from '../storage/index.ts'
import { openRollRecord } from './record/roll-record.ts'
import type { Run } from './run.ts'

let bench: Bench
afterEach(() => bench.close())

const texts = (frame: number): string[] => [code('A', 100 + frame), code('B', 200 + frame)]
const partial = (pitches: number) =>
  ({ event: 'partial', positionUm: pitches * pitchMm * 1000, roll: 'REST', by: 'lead' }) as const

async function feed(run: Run, frames: readonly number[]): Promise<string[]> {
  return short((await run.frames(frames.map((frame) => event(frame, texts(frame))))).answers)
}

const none = (run: Run, frames: readonly number[]) =>
  run.laid(frames.flatMap((frame) => [1, 2].map((cell) => ({ frame, cell, laid: 'none' as const }))))

async function recordOf(run: Run) {
  const blobs = await openFolderBlobs({
    folder: path.join(bench.folder, 'blobs'),
    temporary: path.join(bench.folder, 'temporary'),
  })
  return openRollRecord({ database: bench.database, blobs }, run)
}

describe('a rest that was not run', () => {
  it('is refused where labels behind it were answered lay, until they are reported none; a later run lays them', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, [1, 2, 3, 4, 5])
    await expect(run.material(partial(4))).rejects.toMatchObject({
      code: 'material-position',
      message:
        '4 labels behind 240 mm were answered lay: report them none first if nothing lies on them, or split there instead',
    })
    await none(run, [4])
    await expect(run.material(partial(4))).rejects.toThrow('2 labels behind 240 mm')
    await none(run, [5])
    await run.material(partial(4))
    await run.close({ by: 'lead' })
    const { rests } = (await recordOf(run)).reconciliation()
    expect(rests).toMatchObject([{ roll: 'REST', in: 4, laid: 0 }])
    await run.seal({ by: 'lead' })
    const rerun = await bench.openProved()
    expect(await feed(rerun, [1, 4, 5])).toEqual([
      ...['skip duplicate', 'skip duplicate'],
      ...['lay', 'lay', 'lay', 'lay'],
    ])
  })

  it('begins with the frame whose middle lies behind it', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, [1, 2])
    await expect(run.material(partial(2.5))).rejects.toThrow('2 labels behind 150 mm')
    await run.material(partial(2.51))
  })

  it('is refused while pictures of frames on it are still being read', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.capture({ frame: 1, positionMm: pitchMm, digest: 'a'.repeat(64) as never })
    await expect(run.material(partial(1))).rejects.toThrow('pictures of 1 frames behind 60 mm are still being read')
  })

  it('lets no frame be taken behind it, also after a re-threading, until it is voided', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, [1, 2, 3])
    await run.material(partial(4))
    const refused = { code: 'frame-on-rest' }
    await expect(feed(run, [4])).rejects.toMatchObject(refused)
    await expect(
      run.capture({ frame: 4, positionMm: 4 * pitchMm, digest: 'a'.repeat(64) as never }),
    ).rejects.toMatchObject(refused)
    expect(run.state.lastFrame).toBe(3)
    // Web backed up before it is the same web as before.
    expect(short((await run.frames([event(4, texts(3), 3 * pitchMm)])).answers)).toEqual([
      'skip already-laid',
      'skip already-laid',
    ])
    await run.material({ event: 're-thread', by: 'lead' })
    await expect(run.frames([event(5, texts(5), 0)])).rejects.toMatchObject(refused)
    const { index = 0 } = run.state.material.find(({ body }) => body.event === 'partial') ?? {}
    await run.material({ event: 'void', voids: index, by: 'lead' })
    expect(short((await run.frames([event(5, texts(5), 0)])).answers)).toEqual(['lay', 'lay'])
  })

  it('is followed by another roll, under another ticket', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, [1, 2, 3])
    await run.material(partial(4))
    const next = ticket({ ticket: 'T2', roll: 'R2' })
    await putTicket({ database: bench.database, clock: systemClock }, next)
    await bench.runs.changeTicket(run, { ticket: 'T2', by: 'lead', why: 'next roll' })
    expect(await feed(run, [4, 5])).toEqual(['lay', 'lay', 'lay', 'lay'])
    expect((await recordOf(run)).reconciliation().rests).toEqual([])
  })
})
