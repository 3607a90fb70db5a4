// What every work queue must keep (src/queue/port.ts).
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Problem } from '../../src/kernel/problem.ts'
import type { WorkContext, WorkQueue } from '../../src/queue/index.ts'
import { startFixture, takeLines } from './fixtures/spawn.ts'
import { until } from './fixtures/until.ts'
import type { OpenQueue, QueueAdapter } from './queue.adapters.ts'

/** A promise that the test settles. */
function gate(): { readonly passed: Promise<void>; open(): void } {
  let open = () => {}
  const passed = new Promise<void>((resolve) => {
    open = resolve
  })
  return { passed, open: () => open() }
}

/** Never returns by itself, and fails when it is told to end. */
const untilAborted = ({ signal }: WorkContext): Promise<never> =>
  new Promise((_, reject) => {
    signal.addEventListener('abort', () => reject(signal.reason), { once: true })
  })

const orders = (count: number, kind = 'note') =>
  Array.from({ length: count }, (_, i) => ({ id: `piece-${String(i).padStart(4, '0')}`, kind, payload: i }))

export function describeQueue(adapter: QueueAdapter): void {
  describe(`work queue ${adapter.name}`, () => {
    let where: string
    let opened: OpenQueue
    let queue: WorkQueue

    const open = async () => {
      opened = await adapter.open(where)
      queue = opened.queue
    }
    const reopen = async () => {
      await opened.dispose()
      await open()
    }
    beforeEach(async () => {
      where = await mkdtemp(join(tmpdir(), 'rollcall-queue-'))
      await open()
    })
    afterEach(async () => {
      await opened.dispose()
      await rm(where, { recursive: true })
    })

    describe('doing work', () => {
      it('hands the payload to the handler of its kind and keeps the result', async () => {
        const seen: unknown[] = []
        queue.handle('check', 1, async (payload, { id, attempt }) => {
          seen.push({ payload, id, attempt })
          return { findings: [] }
        })
        await queue.start()
        await queue.enqueue({ id: 'check-1', kind: 'check', payload: { folder: 'intake/é', n: [1, null] } })
        const item = await queue.ended('check-1')
        expect(item).toMatchObject({ id: 'check-1', kind: 'check', state: 'done', attempts: 1, progress: 1 })
        expect(item.result).toEqual({ findings: [] })
        expect(item.endedAtMs).toBeGreaterThanOrEqual(item.createdAtMs)
        expect(seen).toEqual([{ payload: { folder: 'intake/é', n: [1, null] }, id: 'check-1', attempt: 1 }])
        expect(await queue.get('check-1')).toEqual(item)
      })

      it('takes work before it has started and before the kind has a handler, and does it then', async () => {
        expect(await queue.enqueue({ id: 'early', kind: 'note', payload: 1 })).toMatchObject({
          state: 'waiting',
          attempts: 0,
          priority: 10,
          attemptsMax: 5,
        })
        await queue.start()
        expect(await queue.get('early')).toMatchObject({ state: 'waiting' })
        queue.handle('note', 1, async (payload) => payload)
        expect(await queue.ended('early')).toMatchObject({ state: 'done', result: 1 })
      })

      it('gives an empty result for a handler that returns nothing', async () => {
        queue.handle('note', 1, async () => undefined)
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: undefined })
        expect(await queue.ended('a')).toMatchObject({ state: 'done', result: null, payload: null })
      })

      it('does the same id once, however often it is enqueued while it waits, runs or is done', async () => {
        const go = gate()
        let runs = 0
        queue.handle('note', 2, async () => {
          runs += 1
          await go.passed
          return runs
        })
        const order = { id: 'same', kind: 'note', payload: 'first' }
        await queue.enqueue(order)
        await queue.enqueue({ ...order, payload: 'second' })
        await queue.start()
        await until(() => runs === 1)
        expect(await queue.enqueue(order)).toMatchObject({ state: 'running', payload: 'first' })
        go.open()
        await queue.ended('same')
        expect(await queue.enqueue(order)).toMatchObject({ state: 'done', result: 1 })
        expect(runs).toBe(1)
        expect(await queue.counts()).toEqual({ waiting: 0, running: 0, done: 1, dead: 0, cancelled: 0 })
      })

      it('takes smaller priorities first, and the older of two alike', async () => {
        const order: string[] = []
        queue.handle('note', 1, async (_, { id }) => void order.push(id))
        await queue.enqueue({ id: 'b-late', kind: 'note', payload: 0, priority: 20 })
        await queue.enqueue({ id: 'c-usual', kind: 'note', payload: 0 })
        await queue.enqueue({ id: 'd-usual', kind: 'note', payload: 0 })
        await queue.enqueue({ id: 'e-live', kind: 'note', payload: 0, priority: 0 })
        await queue.start()
        await queue.ended('b-late')
        expect(order).toEqual(['e-live', 'c-usual', 'd-usual', 'b-late'])
      })

      it('runs as many of a kind at a time as it may, and no more', async () => {
        let running = 0
        let most = 0
        const go = gate()
        queue.handle('note', 3, async () => {
          running += 1
          most = Math.max(most, running)
          await go.passed
          running -= 1
        })
        await queue.start()
        await Promise.all(orders(12).map((order) => queue.enqueue(order)))
        await until(() => running === 3)
        expect(await queue.counts()).toMatchObject({ running: 3, waiting: 9 })
        go.open()
        await Promise.all(orders(12).map(({ id }) => queue.ended(id)))
        expect(most).toBe(3)
      })

      it('lets no kind wait for another', async () => {
        const go = gate()
        queue.handle('slow', 1, () => go.passed)
        queue.handle('fast', 1, async () => 'there')
        await queue.start()
        await queue.enqueue({ id: 'slow-1', kind: 'slow', payload: 0, priority: 0 })
        await queue.enqueue({ id: 'slow-2', kind: 'slow', payload: 0, priority: 0 })
        await queue.enqueue({ id: 'unknown-1', kind: 'unknown', payload: 0, priority: 0 })
        await queue.enqueue({ id: 'fast-1', kind: 'fast', payload: 0, priority: 99 })
        expect(await queue.ended('fast-1')).toMatchObject({ result: 'there' })
        go.open()
        await queue.ended('slow-2')
        expect(await queue.get('unknown-1')).toMatchObject({ state: 'waiting' })
      })

      it('shows progress while the work runs, held between 0 and 1', async () => {
        const [half, beyond] = [gate(), gate()]
        queue.handle('note', 1, async (_, { progress }) => {
          progress(0.5, 'layer 1 of 2')
          await half.passed
          progress(7, 'too much')
          await beyond.passed
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await queue.get('a'))?.progress === 0.5)
        expect(await queue.list({ state: 'running', count: 1 })).toMatchObject([{ progressNote: 'layer 1 of 2' }])
        half.open()
        await until(async () => (await queue.get('a'))?.progressNote === 'too much')
        expect(await queue.get('a')).toMatchObject({ progress: 1, state: 'running' })
        beyond.open()
        await queue.ended('a')
      })
    })

    describe('failing work', () => {
      it('tries again until it succeeds, counting the tries', async () => {
        queue.handle('note', 1, async (_, { attempt }) => {
          if (attempt < 3) throw new Error(`try ${attempt} failed`)
          return attempt
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const item = await queue.ended('a')
        expect(item).toMatchObject({ state: 'done', attempts: 3, result: 3 })
        expect(item).not.toHaveProperty('error')
      })

      it('ends as a dead letter with the last error after its last try', async () => {
        queue.handle('note', 1, async (_, { attempt }) => {
          throw new RangeError(`try ${attempt} failed`)
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: { kept: true }, attemptsMax: 3 })
        const item = await queue.ended('a')
        expect(item).toMatchObject({ state: 'dead', attempts: 3, payload: { kept: true } })
        expect(item.error).toMatchObject({ code: 'internal', status: 500, detail: 'RangeError: try 3 failed' })
      })

      it('is dead at once after a Problem that no retry can help, with its findings', async () => {
        queue.handle('note', 1, async () => {
          throw new Problem('package-refused', 'one thing is wrong', {
            findings: [{ code: 'image-size', message: 'too wide', file: 'a.png' }],
          })
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const item = await queue.ended('a')
        expect(item).toMatchObject({ state: 'dead', attempts: 1 })
        expect(item.error).toMatchObject({
          code: 'package-refused',
          status: 422,
          findings: [{ code: 'image-size', file: 'a.png' }],
        })
      })

      it('tries again after a Problem that a retry may help', async () => {
        queue.handle('note', 1, async (_, { attempt }) => {
          if (attempt === 1) throw new Problem('file-changed', 'still being copied')
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        expect(await queue.ended('a')).toMatchObject({ state: 'done', attempts: 2 })
      })

      it('counts a result that JSON cannot hold as a failure', async () => {
        queue.handle('note', 1, async () => ({ size: 1n }))
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0, attemptsMax: 1 })
        expect(await queue.ended('a')).toMatchObject({ state: 'dead', error: { code: 'internal' } })
      })

      it('does dead work again with fresh tries when it is put back', async () => {
        let mended = false
        queue.handle('note', 1, async () => {
          if (!mended) throw new Error('broken')
          return 'well'
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0, attemptsMax: 2 })
        expect(await queue.ended('a')).toMatchObject({ state: 'dead', attempts: 2 })
        mended = true
        const item = await queue.requeue('a')
        expect(item).toMatchObject({ state: 'waiting', attempts: 0, progress: 0 })
        expect(item).not.toHaveProperty('error')
        expect(await queue.ended('a')).toMatchObject({ state: 'done', attempts: 1, result: 'well' })
      })

      it('puts dead work back, with the payload given, when the same id is enqueued', async () => {
        queue.handle('note', 1, async (payload) => {
          if (payload === 'bad') throw new Problem('bad-request', 'bad')
          return payload
        })
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 'bad' })
        await queue.ended('a')
        await queue.enqueue({ id: 'a', kind: 'note', payload: 'good' })
        expect(await queue.ended('a')).toMatchObject({ state: 'done', result: 'good', attempts: 1 })
      })

      it('refuses to put back what waits, is done or was never there', async () => {
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await expect(queue.requeue('a')).rejects.toMatchObject({ code: 'work-state', place: { measured: 'waiting' } })
        queue.handle('note', 1, async () => 0)
        await queue.start()
        await queue.ended('a')
        await expect(queue.requeue('a')).rejects.toMatchObject({ code: 'work-state', place: { measured: 'done' } })
        await expect(queue.requeue('never')).rejects.toMatchObject({ code: 'work-not-found' })
      })

      it('ends every piece as its failures and tries say, whatever the mix', async () => {
        const piece = fc.record({
          failures: fc.integer({ min: 0, max: 4 }),
          attemptsMax: fc.integer({ min: 1, max: 4 }),
          priority: fc.integer({ min: 0, max: 3 }),
        })
        queue.handle('note', 3, async (payload, { attempt }) => {
          if (attempt <= Number(payload)) throw new Error('not yet')
          return attempt
        })
        await queue.start()
        let round = 0
        await fc.assert(
          fc.asyncProperty(fc.array(piece, { minLength: 1, maxLength: 12 }), async (pieces) => {
            round += 1
            const ids = pieces.map((_, i) => `round-${round}-${i}`)
            await Promise.all(
              pieces.map(({ failures, ...rest }, i) =>
                queue.enqueue({ id: ids[i] ?? '', kind: 'note', payload: failures, ...rest }),
              ),
            )
            const items = await Promise.all(ids.map((id) => queue.ended(id)))
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
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const ended = queue.ended('a')
        expect(await queue.cancel('a')).toMatchObject({ state: 'cancelled', attempts: 0 })
        expect(await ended).toMatchObject({ state: 'cancelled' })
        let runs = 0
        queue.handle('note', 1, async () => {
          runs += 1
        })
        await queue.start()
        await queue.enqueue({ id: 'b', kind: 'note', payload: 0 })
        await queue.ended('b')
        expect(runs).toBe(1)
      })

      it('cancels running work when its handler heeds the signal, without another try', async () => {
        queue.handle('note', 1, (_, context) => untilAborted(context))
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await queue.get('a'))?.state === 'running')
        await queue.cancel('a')
        const item = await queue.ended('a')
        expect(item).toMatchObject({ state: 'cancelled', attempts: 1, error: { code: 'work-state' } })
        expect(await queue.requeue('a')).toMatchObject({ state: 'waiting', attempts: 0 })
      })

      it('lets work be done whose handler came to its end all the same', async () => {
        const go = gate()
        queue.handle('note', 1, () => go.passed.then(() => 'done anyway'))
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await queue.get('a'))?.state === 'running')
        expect(await queue.cancel('a')).toMatchObject({ state: 'running' })
        go.open()
        expect(await queue.ended('a')).toMatchObject({ state: 'done', result: 'done anyway' })
      })

      it('cancels work right after it was enqueued, whether or not it was handed out by then', async () => {
        queue.handle('note', 2, (_, context) => untilAborted(context))
        await queue.start()
        const items = await Promise.all(
          orders(10).map(async (order) => {
            await queue.enqueue(order)
            await queue.cancel(order.id)
            return queue.ended(order.id)
          }),
        )
        expect(new Set(items.map(({ state }) => state))).toEqual(new Set(['cancelled']))
      })

      it('refuses to cancel what has ended or was never there', async () => {
        queue.handle('note', 1, async () => 0)
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await queue.ended('a')
        await expect(queue.cancel('a')).rejects.toMatchObject({ code: 'work-state', place: { measured: 'done' } })
        await expect(queue.cancel('never')).rejects.toMatchObject({ code: 'work-not-found' })
      })
    })

    describe('waiting and looking', () => {
      it('tells all who wait for the end, before it and after it', async () => {
        const go = gate()
        queue.handle('note', 1, () => go.passed)
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const waiting = [queue.ended('a'), queue.ended('a')]
        go.open()
        expect((await Promise.all(waiting)).map(({ state }) => state)).toEqual(['done', 'done'])
        expect(await queue.ended('a')).toMatchObject({ state: 'done' })
        await reopen()
        expect(await queue.ended('a')).toMatchObject({ state: 'done' })
      })

      it('stops waiting with the reason of the signal, and leaves the work alone', async () => {
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const stop = new AbortController()
        const waiting = queue.ended('a', stop.signal)
        stop.abort(new Error('the client left'))
        await expect(waiting).rejects.toThrow('the client left')
        await expect(queue.ended('a', stop.signal)).rejects.toThrow('the client left')
        expect(await queue.get('a')).toMatchObject({ state: 'waiting' })
      })

      it('knows no work that was never enqueued', async () => {
        expect(await queue.get('never')).toBeUndefined()
        await expect(queue.ended('never')).rejects.toMatchObject({ code: 'work-not-found' })
      })

      it('lists the newest first, by state and kind, up to the count asked for', async () => {
        for (const order of orders(3)) await queue.enqueue(order)
        for (const order of orders(2, 'check')) await queue.enqueue({ ...order, id: `check-${order.id}` })
        await queue.cancel('piece-0001')
        const ids = async (filter: Parameters<WorkQueue['list']>[0]) => (await queue.list(filter)).map(({ id }) => id)
        expect(await ids({ kind: 'note', count: 10 })).toEqual(['piece-0002', 'piece-0001', 'piece-0000'])
        expect(await ids({ kind: 'note', state: 'waiting', count: 1 })).toEqual(['piece-0002'])
        expect(await ids({ state: 'cancelled', count: 10 })).toEqual(['piece-0001'])
        expect(await ids({ state: 'dead', count: 10 })).toEqual([])
        expect(await ids({ count: 10 })).toHaveLength(5)
        expect(await queue.counts()).toEqual({ waiting: 4, running: 0, done: 0, dead: 0, cancelled: 1 })
      })
    })

    describe('closing and dying', () => {
      it('aborts what runs, waits for it, and does it again after a reopening without counting the try', async () => {
        let left = 0
        queue.handle('note', 1, (_, context) => untilAborted(context).finally(() => (left += 1)))
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 'kept' })
        await queue.enqueue({ id: 'b', kind: 'note', payload: 'kept' })
        await until(async () => (await queue.get('a'))?.state === 'running')
        await queue.close()
        expect(left).toBe(1)
        await reopen()
        expect(await queue.get('a')).toMatchObject({ state: 'waiting', attempts: 0 })
        queue.handle('note', 1, async (payload, { attempt }) => ({ payload, attempt }))
        await queue.start()
        expect(await queue.ended('a')).toMatchObject({ state: 'done', result: { payload: 'kept', attempt: 1 } })
        expect(await queue.ended('b')).toMatchObject({ state: 'done' })
      })

      it('keeps the result of work that finishes while the queue closes', async () => {
        const go = gate()
        queue.handle('note', 1, () => go.passed.then(() => 'finished'))
        await queue.start()
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        await until(async () => (await queue.get('a'))?.state === 'running')
        const closed = queue.close()
        go.open()
        await closed
        await reopen()
        expect(await queue.get('a')).toMatchObject({ state: 'done', result: 'finished' })
      })

      it('tells those who wait that it closes', async () => {
        await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
        const waiting = queue.ended('a')
        await queue.close()
        await expect(waiting).rejects.toMatchObject({ code: 'shutting-down' })
        await expect(queue.ended('a')).rejects.toMatchObject({ code: 'shutting-down' })
      })

      it.each([1, 12, 60])('loses no work and no result when it is killed after %i lines', async (count) => {
        const fixture = startFixture('work-until-killed.ts', adapter.name, where)
        const lines = [...(await takeLines(fixture, count)), ...(await fixture.kill())]
        const idsOf = (word: string) =>
          lines.filter((line) => line.startsWith(word)).map((line) => line.split(' ')[1] ?? '')
        await reopen()
        const before = new Map((await queue.list({ count: 100_000 })).map((item) => [item.id, item]))
        expect([...before.keys()]).toEqual(expect.arrayContaining(idsOf('queued')))
        for (const id of idsOf('done')) expect(before.get(id), id).toMatchObject({ state: 'done' })
        const rerun: string[] = []
        queue.handle('note', 2, async (payload, { id }) => {
          rerun.push(id)
          return { noted: payload }
        })
        await queue.start()
        const items = await Promise.all([...before.keys()].map((id) => queue.ended(id)))
        for (const item of items) {
          expect(item).toMatchObject({ state: 'done', result: { noted: Number(item.id.split('-')[1]) } })
        }
        const unfinished = [...before.values()].filter(({ state }) => state !== 'done').map(({ id }) => id)
        expect(rerun.sort()).toEqual(unfinished.sort())
      })
    })
  })
}
