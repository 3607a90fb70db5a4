// What every work queue must keep (src/queue/port.ts): doing work, waiting for it and looking at it.
import { describe, expect, it } from 'vitest'
import type { WorkQueue } from '../../src/queue/index.ts'
import { until } from './fixtures/until.ts'
import type { QueueAdapter } from './queue-adapters.ts'
import { benchOf, gate, orders } from './queue-bench.ts'

export function describeQueue(adapter: QueueAdapter): void {
  describe(`work queue ${adapter.name}`, () => {
    const bench = benchOf(adapter)

    describe('doing work', () => {
      it('hands the payload to the handler of its kind and keeps the result', async () => {
        const seen: unknown[] = []
        bench.queue.handle('check', 1, async (payload, { id, attempt }) => {
          seen.push({ payload, id, attempt })
          return { findings: [] }
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'check-1', kind: 'check', payload: { folder: 'intake/é', n: [1, null] } })
        const item = await bench.queue.ended('check-1')
        expect(item).toMatchObject({ id: 'check-1', kind: 'check', state: 'done', attempts: 1, progress: 1 })
        expect(item.result).toEqual({ findings: [] })
        expect(item.endedAtMs).toBeGreaterThanOrEqual(item.createdAtMs)
        expect(seen).toEqual([{ payload: { folder: 'intake/é', n: [1, null] }, id: 'check-1', attempt: 1 }])
        expect(await bench.queue.get('check-1')).toEqual(item)
      })

      it('takes work before it has started and before the kind has a handler, and does it then', async () => {
        expect(await bench.queue.enqueue({ id: 'early', kind: 'note', payload: 1 })).toMatchObject({
          state: 'waiting',
          attempts: 0,
          priority: 10,
          attemptsMax: 5,
        })
        await bench.queue.start()
        expect(await bench.queue.get('early')).toMatchObject({ state: 'waiting' })
        bench.queue.handle('note', 1, async (payload) => payload)
        expect(await bench.queue.ended('early')).toMatchObject({ state: 'done', result: 1 })
      })

      it('gives an empty result for a handler that returns nothing', async () => {
        bench.queue.handle('note', 1, async () => undefined)
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: undefined })
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done', result: null, payload: null })
      })

      it('does the same id once, however often it is enqueued while it waits, runs or is done', async () => {
        const go = gate()
        let runs = 0
        bench.queue.handle('note', 2, async () => {
          runs += 1
          await go.passed
          return runs
        })
        const order = { id: 'same', kind: 'note', payload: 'first' }
        await bench.queue.enqueue(order)
        await bench.queue.enqueue({ ...order, payload: 'second' })
        await bench.queue.start()
        await until(() => runs === 1)
        expect(await bench.queue.enqueue(order)).toMatchObject({ state: 'running', payload: 'first' })
        go.open()
        await bench.queue.ended('same')
        expect(await bench.queue.enqueue(order)).toMatchObject({ state: 'done', result: 1 })
        expect(runs).toBe(1)
        expect(await bench.queue.counts()).toEqual({ waiting: 0, running: 0, done: 1, dead: 0, cancelled: 0 })
      })

      it('takes smaller priorities first, and the older of two alike', async () => {
        const order: string[] = []
        bench.queue.handle('note', 1, async (_, { id }) => void order.push(id))
        await bench.queue.enqueue({ id: 'b-late', kind: 'note', payload: 0, priority: 20 })
        await bench.queue.enqueue({ id: 'c-usual', kind: 'note', payload: 0 })
        await bench.queue.enqueue({ id: 'd-usual', kind: 'note', payload: 0 })
        await bench.queue.enqueue({ id: 'e-live', kind: 'note', payload: 0, priority: 0 })
        await bench.queue.start()
        await bench.queue.ended('b-late')
        expect(order).toEqual(['e-live', 'c-usual', 'd-usual', 'b-late'])
      })

      it('runs as many of a kind at a time as it may, and no more', async () => {
        let running = 0
        let most = 0
        const go = gate()
        bench.queue.handle('note', 3, async () => {
          running += 1
          most = Math.max(most, running)
          await go.passed
          running -= 1
        })
        await bench.queue.start()
        await Promise.all(orders(12).map((order) => bench.queue.enqueue(order)))
        await until(() => running === 3)
        expect(await bench.queue.counts()).toMatchObject({ running: 3, waiting: 9 })
        go.open()
        await Promise.all(orders(12).map(({ id }) => bench.queue.ended(id)))
        expect(most).toBe(3)
      })

      it('lets no kind wait for another', async () => {
        const go = gate()
        bench.queue.handle('slow', 1, () => go.passed)
        bench.queue.handle('fast', 1, async () => 'there')
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'slow-1', kind: 'slow', payload: 0, priority: 0 })
        await bench.queue.enqueue({ id: 'slow-2', kind: 'slow', payload: 0, priority: 0 })
        await bench.queue.enqueue({ id: 'unknown-1', kind: 'unknown', payload: 0, priority: 0 })
        await bench.queue.enqueue({ id: 'fast-1', kind: 'fast', payload: 0, priority: 99 })
        expect(await bench.queue.ended('fast-1')).toMatchObject({ result: 'there' })
        go.open()
        await bench.queue.ended('slow-2')
        expect(await bench.queue.get('unknown-1')).toMatchObject({ state: 'waiting' })
      })

      it('shows progress while the work runs, held between 0 and 1', async () => {
        const [half, beyond] = [gate(), gate()]
        bench.queue.handle('note', 1, async (_, { progress }) => {
          progress(0.5, 'layer 1 of 2')
          await half.passed
          progress(7, 'too much')
          await beyond.passed
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await bench.queue.get('a'))?.progress === 0.5)
        expect(await bench.queue.list({ state: 'running', count: 1 })).toMatchObject([{ progressNote: 'layer 1 of 2' }])
        half.open()
        await until(async () => (await bench.queue.get('a'))?.progressNote === 'too much')
        expect(await bench.queue.get('a')).toMatchObject({ progress: 1, state: 'running' })
        beyond.open()
        await bench.queue.ended('a')
      })
    })

    describe('waiting and looking', () => {
      it('tells all who wait for the end, before it and after it', async () => {
        const go = gate()
        bench.queue.handle('note', 1, () => go.passed)
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const waiting = [bench.queue.ended('a'), bench.queue.ended('a')]
        go.open()
        expect((await Promise.all(waiting)).map(({ state }) => state)).toEqual(['done', 'done'])
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done' })
        await bench.reopen()
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done' })
      })

      it('stops waiting with the reason of the signal, and leaves the work alone', async () => {
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const stop = new AbortController()
        const waiting = bench.queue.ended('a', stop.signal)
        stop.abort(new Error('the client left'))
        await expect(waiting).rejects.toThrow('the client left')
        await expect(bench.queue.ended('a', stop.signal)).rejects.toThrow('the client left')
        expect(await bench.queue.get('a')).toMatchObject({ state: 'waiting' })
      })

      it('knows no work that was never enqueued', async () => {
        expect(await bench.queue.get('never')).toBeUndefined()
        await expect(bench.queue.ended('never')).rejects.toMatchObject({ code: 'work-not-found' })
      })

      it('lists the newest first, by state and kind, up to the count asked for', async () => {
        for (const order of orders(3)) await bench.queue.enqueue(order)
        for (const order of orders(2, 'check')) await bench.queue.enqueue({ ...order, id: `check-${order.id}` })
        await bench.queue.cancel('piece-0001')
        const ids = async (filter: Parameters<WorkQueue['list']>[0]) =>
          (await bench.queue.list(filter)).map(({ id }) => id)
        expect(await ids({ kind: 'note', count: 10 })).toEqual(['piece-0002', 'piece-0001', 'piece-0000'])
        expect(await ids({ kind: 'note', state: 'waiting', count: 1 })).toEqual(['piece-0002'])
        expect(await ids({ state: 'cancelled', count: 10 })).toEqual(['piece-0001'])
        expect(await ids({ state: 'dead', count: 10 })).toEqual([])
        expect(await ids({ count: 10 })).toHaveLength(5)
        expect(await bench.queue.counts()).toEqual({ waiting: 4, running: 0, done: 0, dead: 0, cancelled: 1 })
      })
    })
  })
}
