// What every work queue must keep (src/queue/port.ts) when work fails or is cancelled, and when the queue closes or is killed.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Problem } from '../../src/kernel/problem.ts'
import { startFixture, takeLines } from './fixtures/spawn.ts'
import { until } from './fixtures/until.ts'
import type { QueueAdapter } from './queue-adapters.ts'
import { benchOf, gate, orders, untilAborted } from './queue-bench.ts'

export function describeQueueEndings(adapter: QueueAdapter): void {
  describe(`work queue ${adapter.name}`, () => {
    const bench = benchOf(adapter)

    describe('failing work', () => {
      it('tries again until it succeeds, counting the tries', async () => {
        bench.queue.handle('note', 1, async (_, { attempt }) => {
          if (attempt < 3) throw new Error(`try ${attempt} failed`)
          return attempt
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const item = await bench.queue.ended('a')
        expect(item).toMatchObject({ state: 'done', attempts: 3, result: 3 })
        expect(item).not.toHaveProperty('error')
      })

      it('ends as a dead letter with the last error after its last try', async () => {
        bench.queue.handle('note', 1, async (_, { attempt }) => {
          throw new RangeError(`try ${attempt} failed`)
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: { kept: true }, attemptsMax: 3 })
        const item = await bench.queue.ended('a')
        expect(item).toMatchObject({ state: 'dead', attempts: 3, payload: { kept: true } })
        expect(item.error).toMatchObject({ code: 'internal', status: 500, detail: 'RangeError: try 3 failed' })
      })

      it('is dead at once after a Problem that no retry can help, with its findings', async () => {
        bench.queue.handle('note', 1, async () => {
          throw new Problem('package-refused', 'one thing is wrong', {
            findings: [{ code: 'image-size', message: 'too wide', file: 'a.png' }],
          })
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const item = await bench.queue.ended('a')
        expect(item).toMatchObject({ state: 'dead', attempts: 1 })
        expect(item.error).toMatchObject({
          code: 'package-refused',
          status: 422,
          findings: [{ code: 'image-size', file: 'a.png' }],
        })
      })

      it('tries again after a Problem that a retry may help', async () => {
        bench.queue.handle('note', 1, async (_, { attempt }) => {
          if (attempt === 1) throw new Problem('file-changed', 'still being copied')
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done', attempts: 2 })
      })

      it('counts a result that JSON cannot hold as a failure', async () => {
        bench.queue.handle('note', 1, async () => ({ size: 1n }))
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0, attemptsMax: 1 })
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'dead', error: { code: 'internal' } })
      })

      it('does dead work again with fresh tries when it is put back', async () => {
        let mended = false
        bench.queue.handle('note', 1, async () => {
          if (!mended) throw new Error('broken')
          return 'well'
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0, attemptsMax: 2 })
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'dead', attempts: 2 })
        mended = true
        const item = await bench.queue.requeue('a')
        expect(item).toMatchObject({ state: 'waiting', attempts: 0, progress: 0 })
        expect(item).not.toHaveProperty('error')
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done', attempts: 1, result: 'well' })
      })

      it('puts dead work back, with the payload given, when the same id is enqueued', async () => {
        bench.queue.handle('note', 1, async (payload) => {
          if (payload === 'bad') throw new Problem('bad-request', 'bad')
          return payload
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 'bad' })
        await bench.queue.ended('a')
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 'good' })
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done', result: 'good', attempts: 1 })
      })

      it('refuses to put back what waits, is done or was never there', async () => {
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await expect(bench.queue.requeue('a')).rejects.toMatchObject({
          code: 'work-state',
          place: { measured: 'waiting' },
        })
        bench.queue.handle('note', 1, async () => 0)
        await bench.queue.start()
        await bench.queue.ended('a')
        await expect(bench.queue.requeue('a')).rejects.toMatchObject({
          code: 'work-state',
          place: { measured: 'done' },
        })
        await expect(bench.queue.requeue('never')).rejects.toMatchObject({ code: 'work-not-found' })
      })

      it('ends every piece as its failures and tries say, whatever the mix', async () => {
        const piece = fc.record({
          failures: fc.integer({ min: 0, max: 4 }),
          attemptsMax: fc.integer({ min: 1, max: 4 }),
          priority: fc.integer({ min: 0, max: 3 }),
        })
        bench.queue.handle('note', 3, async (payload, { attempt }) => {
          if (attempt <= Number(payload)) throw new Error('not yet')
          return attempt
        })
        await bench.queue.start()
        let round = 0
        await fc.assert(
          fc.asyncProperty(fc.array(piece, { minLength: 1, maxLength: 12 }), async (pieces) => {
            round += 1
            const ids = pieces.map((_, i) => `round-${round}-${i}`)
            await Promise.all(
              pieces.map(({ failures, ...rest }, i) =>
                bench.queue.enqueue({ id: ids[i] ?? '', kind: 'note', payload: failures, ...rest }),
              ),
            )
            const items = await Promise.all(ids.map((id) => bench.queue.ended(id)))
            expect(items.map(({ state, attempts }) => ({ state, attempts }))).toEqual(
              pieces.map(({ failures, attemptsMax }) =>
                failures < attemptsMax
                  ? { state: 'done', attempts: failures + 1 }
                  : { state: 'dead', attempts: attemptsMax },
              ),
            )
          }),
          { numRuns: 15 },
        )
      })
    })

    describe('cancelling', () => {
      it('cancels waiting work at once, and never runs it', async () => {
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const ended = bench.queue.ended('a')
        expect(await bench.queue.cancel('a')).toMatchObject({ state: 'cancelled', attempts: 0 })
        expect(await ended).toMatchObject({ state: 'cancelled' })
        let runs = 0
        bench.queue.handle('note', 1, async () => {
          runs += 1
        })
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'b', kind: 'note', payload: 0 })
        await bench.queue.ended('b')
        expect(runs).toBe(1)
      })

      it('cancels running work when its handler heeds the signal, without another try', async () => {
        bench.queue.handle('note', 1, (_, context) => untilAborted(context))
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await bench.queue.get('a'))?.state === 'running')
        await bench.queue.cancel('a')
        const item = await bench.queue.ended('a')
        expect(item).toMatchObject({ state: 'cancelled', attempts: 1, error: { code: 'work-state' } })
        expect(await bench.queue.requeue('a')).toMatchObject({ state: 'waiting', attempts: 0 })
      })

      it('lets work be done whose handler came to its end all the same', async () => {
        const go = gate()
        bench.queue.handle('note', 1, () => go.passed.then(() => 'done anyway'))
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await bench.queue.get('a'))?.state === 'running')
        expect(await bench.queue.cancel('a')).toMatchObject({ state: 'running' })
        go.open()
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done', result: 'done anyway' })
      })

      it('cancels work right after it was enqueued, whether or not it was handed out by then', async () => {
        bench.queue.handle('note', 2, (_, context) => untilAborted(context))
        await bench.queue.start()
        const items = await Promise.all(
          orders(10).map(async (order) => {
            await bench.queue.enqueue(order)
            await bench.queue.cancel(order.id)
            return bench.queue.ended(order.id)
          }),
        )
        expect(new Set(items.map(({ state }) => state))).toEqual(new Set(['cancelled']))
      })

      it('refuses to cancel what has ended or was never there', async () => {
        bench.queue.handle('note', 1, async () => 0)
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await bench.queue.ended('a')
        await expect(bench.queue.cancel('a')).rejects.toMatchObject({ code: 'work-state', place: { measured: 'done' } })
        await expect(bench.queue.cancel('never')).rejects.toMatchObject({ code: 'work-not-found' })
      })
    })

    describe('closing and dying', () => {
      it('aborts what runs, waits for it, and does it again after a reopening without counting the try', async () => {
        let left = 0
        bench.queue.handle('note', 1, (_, context) => untilAborted(context).finally(() => (left += 1)))
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 'kept' })
        await bench.queue.enqueue({ id: 'b', kind: 'note', payload: 'kept' })
        await until(async () => (await bench.queue.get('a'))?.state === 'running')
        await bench.queue.close()
        expect(left).toBe(1)
        await bench.reopen()
        expect(await bench.queue.get('a')).toMatchObject({ state: 'waiting', attempts: 0 })
        bench.queue.handle('note', 1, async (payload, { attempt }) => ({ payload, attempt }))
        await bench.queue.start()
        expect(await bench.queue.ended('a')).toMatchObject({ state: 'done', result: { payload: 'kept', attempt: 1 } })
        expect(await bench.queue.ended('b')).toMatchObject({ state: 'done' })
      })

      it('keeps the result of work that finishes while the queue closes', async () => {
        const go = gate()
        bench.queue.handle('note', 1, () => go.passed.then(() => 'finished'))
        await bench.queue.start()
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await bench.queue.get('a'))?.state === 'running')
        const closed = bench.queue.close()
        go.open()
        await closed
        await bench.reopen()
        expect(await bench.queue.get('a')).toMatchObject({ state: 'done', result: 'finished' })
      })

      it('tells those who wait that it closes', async () => {
        await bench.queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const waiting = bench.queue.ended('a')
        await bench.queue.close()
        await expect(waiting).rejects.toMatchObject({ code: 'shutting-down' })
        await expect(bench.queue.ended('a')).rejects.toMatchObject({ code: 'shutting-down' })
      })

      it.each([1, 12, 60])('loses no work and no result when it is killed after %i lines', async (count) => {
        const fixture = startFixture('work-until-killed.ts', adapter.name, bench.where)
        const lines = [...(await takeLines(fixture, count)), ...(await fixture.kill())]
        const idsOf = (word: string) =>
          lines.filter((line) => line.startsWith(word)).map((line) => line.split(' ')[1] ?? '')
        await bench.reopen()
        const before = new Map((await bench.queue.list({ count: 100_000 })).map((item) => [item.id, item]))
        expect([...before.keys()]).toEqual(expect.arrayContaining(idsOf('queued')))
        for (const id of idsOf('done')) expect(before.get(id), id).toMatchObject({ state: 'done' })
        const rerun: string[] = []
        bench.queue.handle('note', 2, async (payload, { id }) => {
          rerun.push(id)
          return { noted: payload }
        })
        await bench.queue.start()
        const items = await Promise.all([...before.keys()].map((id) => bench.queue.ended(id)))
        for (const item of items) {
          expect(item).toMatchObject({ state: 'done', result: { noted: Number(item.id.split('-')[1]) } })
        }
        const unfinished = [...before.values()].filter(({ state }) => state !== 'done').map(({ id }) => id)
        expect(rerun.sort()).toEqual(unfinished.sort())
      })
    })
  })
}
