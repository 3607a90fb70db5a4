// Pools of threads: what comes over whole, and what happens when a thread dies, hangs or is told to stop.
import { afterEach, expect, it } from 'vitest'
import { openThreads, type Threads, type ThreadsOptions } from './threads.ts'

const script = new URL('../../tests/contract/fixtures/thread-tasks.ts', import.meta.url)
const brokenScript = new URL('../../tests/contract/fixtures/thread-broken.ts', import.meta.url)
let threads: Threads

function open(options: Partial<ThreadsOptions> = {}): Threads {
  threads = openThreads({ script, count: 1, ...options })
  return threads
}

afterEach(() => threads.close())

it('runs a task in a thread and returns its result', async () => {
  expect(await open().run({ do: 'add', a: 2, b: 3 })).toBe(5)
})

it('brings a Problem of the thread over whole: code, detail, place and findings', async () => {
  await expect(open().run({ do: 'refuse' })).rejects.toMatchObject({
    name: 'Problem',
    code: 'package-refused',
    message: 'two things are wrong',
    place: { file: 'job.json', pointer: '/designs/0', measured: 3, limit: 2 },
    findings: [
      { code: 'image-size', message: 'too wide', file: 'a.png', measured: 12.5, limit: 12 },
      { code: 'file-extra', message: 'not listed', file: 'b.png' },
    ],
  })
})

it('brings any other error over as an Error that is no Problem', async () => {
  const failed = open().run({ do: 'throw' })
  await expect(failed).rejects.toThrow(/TypeError: no such thing/)
  await expect(failed).rejects.not.toHaveProperty('code')
})

it('fails the task of a thread that exits, and goes on with a new thread', async () => {
  open()
  const first = await threads.run({ do: 'who' })
  await expect(threads.run({ do: 'exit' })).rejects.toMatchObject({ code: 'internal', message: /exited with code: 3/ })
  expect(await threads.run({ do: 'who' })).not.toBe(first)
})

it('fails the task of a thread that runs out of memory, and goes on with a new thread', async () => {
  open({ heapMbMax: 64 })
  await expect(threads.run({ do: 'hoard' })).rejects.toMatchObject({ code: 'internal', message: /memory/ })
  expect(await threads.run({ do: 'add', a: 1, b: 1 })).toBe(2)
})

it('ends a task that never returns when its time is over; a task that waited for the thread has its full time', async () => {
  open({ timeoutMs: 4_000 })
  await threads.warm()
  const spun = threads.run({ do: 'spin' })
  const added = threads.run({ do: 'add', a: 1, b: 1 })
  await expect(spun).rejects.toMatchObject({ code: 'internal', place: { limit: 4_000 } })
  expect(await added).toBe(2)
})

it('ends a running task on abort with the reason given, and drops a waiting one', async () => {
  open()
  await threads.warm()
  const stop = new AbortController()
  const spun = threads.run({ do: 'spin' }, { signal: stop.signal })
  const waiting = threads.run({ do: 'add', a: 1, b: 1 }, { signal: stop.signal })
  stop.abort(new Error('cancelled by hand'))
  await expect(spun).rejects.toThrow('cancelled by hand')
  await expect(waiting).rejects.toThrow('cancelled by hand')
  await expect(threads.run({ do: 'who' }, { signal: stop.signal })).rejects.toThrow('cancelled by hand')
  expect(await threads.run({ do: 'add', a: 1, b: 1 })).toBe(2)
})

it('uses each of its threads once warm, and as many at a time as it has', async () => {
  open({ count: 2, timeoutMs: 20_000 })
  await Promise.all([threads.warm(), threads.warm()])
  const [a, b] = await Promise.all([threads.run({ do: 'who' }), threads.run({ do: 'who' })])
  expect(new Set([a, b]).size).toBe(2)
})

it('hands a buffer over instead of copying it', async () => {
  open()
  const bytes = new ArrayBuffer(1_000_000)
  expect(await threads.run({ do: 'measure', bytes }, { transfer: [bytes] })).toBe(1_000_000)
  expect(bytes.byteLength).toBe(0)
})

it('adds to the environment of its threads', async () => {
  open({ env: { ROLLCALL_TEST_WORD: 'foil' } })
  expect(await threads.run({ do: 'env' })).toBe('foil')
})

it('names the script that could not be loaded with every task, and with warming', async () => {
  open({ script: brokenScript })
  await expect(threads.warm()).rejects.toThrow('the reader module is absent')
  await expect(threads.run({})).rejects.toThrow('the reader module is absent')
})

it('fails what is unfinished when it closes, and what comes later', async () => {
  open()
  const spun = threads.run({ do: 'spin' })
  const waiting = threads.run({ do: 'add', a: 1, b: 1 })
  const settled = Promise.allSettled([spun, waiting])
  await threads.close()
  expect((await settled).map(({ status }) => status)).toEqual(['rejected', 'rejected'])
  await expect(spun).rejects.toMatchObject({ code: 'shutting-down' })
  await expect(waiting).rejects.toMatchObject({ code: 'shutting-down' })
  await expect(threads.run({ do: 'who' })).rejects.toMatchObject({ code: 'shutting-down' })
})
