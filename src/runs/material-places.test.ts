// Where events of the material may lie, and where they lie when nobody said: from real runs.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, pitchMm } from '../../tests/fixtures/runs.ts'
import type { MaterialBody } from './material-record.ts'
import type { Run } from './run.ts'

let bench: Bench
afterEach(() => bench.close())

/** Frames 0 to 4: web from 0 to 300 mm. */
async function fiveFrames(): Promise<Run> {
  bench = await openBench()
  const run = await bench.openProved()
  await run.frames([1, 2, 3, 4].map((frame) => event(frame, [code('A', 100 + frame), code('B', 200 + frame)])))
  return run
}

const positions = (run: Run) => run.state.material.map(({ body }) => body.positionUm)

describe.each(['splice', 'cut-out', 'pitch-change'] as const)('a %s', (name) => {
  const at = (mm: number): MaterialBody => ({ event: name, positionUm: mm * 1000, by: 'lead' })

  it('is refused before what was run, and further ahead of the sensor than any detector stands', async () => {
    const run = await fiveFrames()
    const refused = { code: 'material-position' }
    await expect(run.material(at(-5))).rejects.toMatchObject(refused)
    await expect(run.material(at(99_999))).rejects.toMatchObject(refused)
    await expect(run.material(at(10_300.001))).rejects.toThrow('(0 to 10300 mm)')
    expect(run.state.material).toEqual([])
    await run.material(at(10_300))
    await run.material(at(0))
    expect(positions(run)).toEqual([10_300_000, 0])
  })

  it('lies where the last frame was, when nobody said where', async () => {
    const run = await fiveFrames()
    await run.material({ event: name, by: 'lead' })
    expect(positions(run)).toEqual([4 * pitchMm * 1000])
  })

  it('is taken as it is told before the first frame of a threading: nothing is known of the place then', async () => {
    const run = await fiveFrames()
    await run.material({ event: 're-thread', by: 'lead' })
    await run.material(at(99_999))
    await run.material({ event: name, by: 'lead' })
    expect(positions(run)).toEqual([undefined, 99_999_000, undefined])
  })
})

it('an event that stands from before is no reason against voiding another one', async () => {
  const run = await fiveFrames()
  await run.material({ event: 'splice', positionUm: 60_000, by: 'lead' })
  const first = run.state.material[0]?.index ?? 0
  await run.material({ event: 're-thread', by: 'lead' })
  await run.material({ event: 'splice', positionUm: 99_999_000, by: 'lead' })
  await run.frames([event(5, [code('A', 105), code('B', 205)], 0)])
  await run.material({ event: 'void', voids: first, by: 'lead' })
  expect(run.state.material.map(({ body }) => body.event)).toEqual(['re-thread', 'splice'])
})
