// Metrics of answers over a real run: margins, lateness, reads by outcome, stops; and that labels stay bounded.
import { Registry } from 'prom-client'
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, publishedJobs } from '../../tests/fixtures/runs.ts'
import { openAnswerMetrics } from './answer-metrics.ts'

let bench: Bench
afterEach(() => bench.close())

async function metered() {
  const registry = new Registry()
  const metrics = openAnswerMetrics([registry], () => 1_700_000_000_000)
  bench = await openBench(publishedJobs(), { onWritten: metrics.written })
  const measured = async (line: string): Promise<number> => {
    const found = (await registry.metrics()).split('\n').find((row) => row.startsWith(`${line} `))
    return Number(found?.slice(line.length + 1))
  }
  return { run: await bench.openProved(), metrics, registry, measured }
}

describe('metrics of answers', () => {
  it('tell how much web was left before the point of no return when an answer was durable', async () => {
    const { run, measured } = await metered()
    await run.frames([event(1, [code('A', 1), code('B', 2)])])
    // 383 mm: 3 to the label, 400 to the station, 20 of handling.
    expect(await measured('rollcall_deadline_margin_mm_sum{line="L1"}')).toBe(4 * 383)
    expect(await measured('rollcall_late_answers_total{line="L1"}')).toBe(0)
  })

  it('count answers that are durable behind their point of no return, as of a month of frames at once', async () => {
    const { run, measured } = await metered()
    const frames = Array.from({ length: 20 }, (_, i) => event(i + 1, [code('A', i), code('B', 100 + i)]))
    await run.frames(frames)
    // Frames 1 to 13 lie more than 383 mm behind the last one.
    expect(await measured('rollcall_late_answers_total{line="L1"}')).toBe(13 * 2)
    expect(await measured('rollcall_deadline_margin_mm_bucket{le="0",line="L1"}')).toBe(13 * 2)
  })

  it('tell what came of reading each label', async () => {
    const { run, measured } = await metered()
    await run.frames([event(1, ['hello', null]), event(2, [code('A', 1), code('Z', 1, '02', 'K')])])
    const read = (outcome: string) => measured(`rollcall_reads_total{outcome="${outcome}"}`)
    expect(await Promise.all(['read', 'no-read', 'unknown-code', 'other-job'].map(read))).toEqual([3, 1, 1, 1])
  })

  it('begin every counter of a line at 0, so that the first stop is seen to happen', async () => {
    const { metrics, measured } = await metered()
    expect(await measured('rollcall_stops_total{line="L1",flag="no-foil"}')).toBe(0)
    metrics.stopped({ line: 'L1', flag: 'no-foil' })
    expect(await measured('rollcall_stops_total{line="L1",flag="no-foil"}')).toBe(1)
  })

  it('know 64 lines by name, and the rest as one', async () => {
    const { metrics, registry } = await metered()
    for (let i = 0; i < 500; i++) metrics.stopped({ line: `line-${i}`, flag: 'no-read' })
    const lines = new Set(
      [...(await registry.metrics()).matchAll(/rollcall_stops_total\{line="([^"]+)"/g)].map(([, line]) => line),
    )
    expect(lines.size).toBe(65)
    expect(lines.has('other')).toBe(true)
  })
})
