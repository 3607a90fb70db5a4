// The watched folder when the system has no watches left.
import { EventEmitter } from 'node:events'
import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { watch } from 'chokidar'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { systemClock, systemRandom } from '../kernel/clock.ts'
import type { WorkItem } from '../queue/port.ts'
import { inlineThreads, openWatchedFolder, type WatchedEvent } from './index.ts'

vi.mock('chokidar', () => ({ watch: vi.fn() }))

let folder: string
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-watch-'))
  for (const name of ['intake', 'refused']) await mkdir(join(folder, name))
})
afterEach(() => rm(folder, { recursive: true }))

const item = (change: Partial<WorkItem>): WorkItem => ({
  id: 'x',
  kind: 'publish',
  state: 'done',
  priority: 10,
  attempts: 1,
  attemptsMax: 5,
  progress: 1,
  progressNote: '',
  payload: {},
  createdAtMs: 0,
  ...change,
})

describe('when the system has no watches left', () => {
  it('that is reported, watching ends, and regular looks go on', async () => {
    const watcher = Object.assign(new EventEmitter(), { close: vi.fn(async () => undefined) })
    vi.mocked(watch).mockReturnValue(watcher as never)
    const events: WatchedEvent[] = []
    const watched = openWatchedFolder({
      intake: join(folder, 'intake'),
      refused: join(folder, 'refused'),
      queue: {
        enqueue: async () => item({ state: 'waiting' }),
        requeue: async () => item({ state: 'waiting' }),
        ended: async () => item({ result: { outcome: 'published' } }),
      },
      threads: inlineThreads,
      clock: systemClock,
      random: systemRandom,
      intervalMs: 10,
      settleMs: 0,
      report: (event) => events.push(event),
    })
    await watched.start()
    watcher.emit('error', Object.assign(new Error('no space'), { code: 'ENOSPC' }))
    expect(events).toMatchObject([{ event: 'trouble', message: expect.stringContaining('ENOSPC') }])
    expect(watcher.close).toHaveBeenCalled()
    await writeFile(join(folder, 'intake', 'late.zip'), 'x')
    await vi.waitFor(() => expect(events.at(-1)).toMatchObject({ event: 'published', name: 'late.zip' }))
    await watched.close()
  })
})
