// What a reading thread is told of a run's roll: which end of the frame leads, and which of its cells there are.
import { afterAll, beforeAll, expect, it } from 'vitest'
import { type Bench, line, openBench } from '../../tests/fixtures/runs.ts'
import type { CaptureTask } from '../codes/index.ts'
import { readCaptureHandler } from './capture-work.ts'

let bench: Bench
beforeAll(async () => {
  bench = await openBench()
})
afterAll(() => bench.close())

async function taskOf(ticket: object): Promise<CaptureTask> {
  const run = await bench.open({ ticket, line: { ...line, camera: { pxPerMm: 10, leftMm: 0, topMm: 0 } } })
  const tasks: CaptureTask[] = []
  const read = async (task: CaptureTask) => {
    tasks.push(task)
    throw new Error('seen')
  }
  const work = readCaptureHandler({ runs: bench.runs, read })
  const context = { signal: new AbortController().signal, attempt: 1 }
  await expect(work({ runId: run.runId, frame: 0, path: 'frame.png' }, context)).rejects.toThrow('seen')
  const [task] = tasks
  if (!task) throw new Error('nothing was read')
  return task
}

it.each([
  { said: {}, turned: false, cells: [1, 2] },
  { said: { leadEdge: 'top' }, turned: false, cells: [1, 2] },
  { said: { leadEdge: 'bottom' }, turned: true, cells: [1, 2] },
  { said: { leadEdge: 'bottom', cells: [2] }, turned: true, cells: [2] },
])('pictures of a roll with $said are read turned: $turned, for cells $cells', async ({ said, turned, cells }) => {
  const task = await taskOf(said)
  expect(task.turned).toBe(turned)
  expect(task.frame.cells.map(({ cell }) => cell)).toEqual(cells)
  expect(task.frame.webWidthMm).toBe(110)
})
