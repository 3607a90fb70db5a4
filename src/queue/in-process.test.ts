// What is particular to the in-process queue: its pauses on a held clock, its economy of statements, and its sweeping. The rest is
// the contract in tests/contract/queue.suite.ts.
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { type HeldClock, holdClock } from '../../tests/contract/fixtures/held-clock.ts'
import { until } from '../../tests/contract/fixtures/until.ts'
import { type Database, openSqlite } from '../storage/index.ts'
import { type InProcessQueueOptions, openInProcessQueue } from './in-process.ts'
import type { WorkQueue } from './port.ts'

let folder: string
let database: Database
let held: HeldClock
let queue: WorkQueue
const middle = () => Uint8Array.of(128)

function open(options: Partial<InProcessQueueOptions> = {}): WorkQueue {
  const { clock, startTimer } = held
  queue = openInProcessQueue({ database, clock, startTimer, random: middle, ...options })
  return queue
}

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-work-'))
  database = await openSqlite({ folder })
  held = holdClock()
})
afterEach(async () => {
  await queue.close()
  await database.close()
  await rm(folder, { recursive: true })
})

const failing = () => Promise.reject(new Error('broken'))
const attemptsOf = async (id: string) => (await queue.get(id))?.attempts
const stateOf = async (id: string) => (await queue.get(id))?.state

it('doubles the pause after each failed try from half a second up to a minute', async () => {
  open().handle('note', 1, failing)
  await queue.start()
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0, attemptsMax: 10 })
  const pauses: number[] = []
  for (let tries = 1; tries < 10; tries += 1) {
    await until(async () => held.timers().length === 1 && (await attemptsOf('a')) === tries)
    const pauseMs = held.timers()[0] ?? 0
    pauses.push(Math.round(pauseMs / 100) * 100)
    held.advance(pauseMs - 1)
    expect(await attemptsOf('a')).toBe(tries)
    held.advance(1)
  }
  await queue.ended('a')
  expect(pauses).toEqual([500, 1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 60_000, 60_000])
})

it.each([
  [0, 0.8],
  [255, 1.2],
])('spreads pauses by up to a fifth: random byte %i', async (byte, factor) => {
  open({ random: () => Uint8Array.of(byte) }).handle('note', 1, failing)
  await queue.start()
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  await until(() => held.timers().length === 1)
  expect((held.timers()[0] ?? 0) / 500).toBeCloseTo(factor, 1)
})

it('sets no timer while nothing is due later', async () => {
  open().handle('note', 2, async () => 0)
  await queue.start()
  await Promise.all(['a', 'b', 'c'].map((id) => queue.enqueue({ id, kind: 'note', payload: 0 })))
  await Promise.all(['a', 'b', 'c'].map((id) => queue.ended(id)))
  expect(held.timers()).toEqual([])
})

it('wakes for the earliest of several pauses, and then for the next', async () => {
  open({ pauseMs: (attempt) => attempt * 1_000 })
  const tries: string[] = []
  queue.handle('note', 2, async (payload, { id, attempt }) => {
    tries.push(`${id}${attempt}`)
    if (attempt <= Number(payload)) throw new Error('broken')
  })
  await queue.start()
  await queue.enqueue({ id: 'a', kind: 'note', payload: 1 })
  await until(() => held.timers().length === 1)
  held.advance(400)
  await queue.enqueue({ id: 'b', kind: 'note', payload: 1 })
  await until(async () => (await stateOf('b')) === 'waiting' && tries.length === 2)
  held.advance(600)
  await queue.ended('a')
  await until(() => held.timers().length === 1)
  expect(tries).toEqual(['a1', 'b1', 'a2'])
  held.advance(400)
  await queue.ended('b')
  expect(tries).toEqual(['a1', 'b1', 'a2', 'b2'])
})

it('takes up pauses of an earlier process when it starts', async () => {
  open({ pauseMs: () => 10_000 }).handle('note', 1, failing)
  await queue.start()
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  await until(() => held.timers().length === 1)
  await queue.close()
  expect(held.timers()).toEqual([])
  open().handle('note', 1, async () => 'well')
  await queue.start()
  expect(await stateOf('a')).toBe('waiting')
  expect(held.timers()).toEqual([10_000])
  held.advance(10_000)
  expect(await queue.ended('a')).toMatchObject({ state: 'done', attempts: 2 })
})

it('does new work at once though the wall clock was set back', async () => {
  open().handle('note', 1, async () => 0)
  const late = { ...held.clock, nowMs: () => held.clock.nowMs() - 3_600_000 }
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  await queue.close()
  open({ clock: late }).handle('note', 1, async () => 0)
  await queue.start()
  expect(await queue.ended('a')).toMatchObject({ state: 'done' })
})

/** Counts the statements that change the work table. */
function countWrites(): { readonly writes: string[] } {
  const writes: string[] = []
  const catalogue = database.catalogue.withPlugin({
    transformQuery: ({ node }) => {
      if (/^(Update|Insert|Delete)QueryNode$/.test(node.kind)) writes.push(node.kind)
      return node
    },
    transformResult: async ({ result }) => result,
  })
  open({ database: { catalogue } })
  return { writes }
}

it('writes twice for a piece of work after its enqueueing, and hardly more often for progress', async () => {
  const { writes } = countWrites()
  queue.handle('note', 4, async (_, { progress }) => {
    for (let i = 0; i < 1_000; i += 1) progress(i / 1_000, 'reading')
  })
  await queue.start()
  await queue.enqueue({ id: 'first', kind: 'note', payload: 0 })
  await queue.ended('first')
  await until(() => writes.includes('DeleteQueryNode'))
  writes.length = 0
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  await queue.ended('a')
  // Enqueued, claimed, progress once since the clock stands still, ended.
  expect(writes).toEqual(['InsertQueryNode', 'UpdateQueryNode', 'UpdateQueryNode', 'UpdateQueryNode'])
})

it('writes progress at most twice a second', async () => {
  const { writes } = countWrites()
  queue.handle('note', 1, async (_, { progress }) => {
    for (let i = 0; i <= 100; i += 1) {
      progress(i / 100, `frame ${i}`)
      held.advance(50)
    }
  })
  await queue.start()
  writes.length = 0
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  await queue.ended('a')
  // 5 s of progress: 11 writes, of them the first at once; beside it the claims, before and after, and the end.
  expect(writes.filter((kind) => kind === 'UpdateQueryNode').length).toBeLessThanOrEqual(11 + 3)
})

it('keeps the last thousand that are done of each kind, and every dead letter', async () => {
  open({ pauseMs: () => 1 })
  queue.handle('note', 50, async (payload) => {
    if (payload === 'bad') throw new Error('broken')
    held.advance(1)
  })
  queue.handle('check', 1, async () => 0)
  await queue.start()
  await queue.enqueue({ id: 'check-1', kind: 'check', payload: 0 })
  await queue.ended('check-1')
  await queue.enqueue({ id: 'bad', kind: 'note', payload: 'bad', attemptsMax: 1 })
  await queue.ended('bad')
  const ids = Array.from({ length: 1_250 }, (_, i) => `piece-${i}`)
  await Promise.all(ids.map((id) => queue.enqueue({ id, kind: 'note', payload: 0 })))
  await Promise.all(ids.map((id) => queue.ended(id)))
  await queue.close()
  const counts = await queue.counts()
  expect(counts.dead).toBe(1)
  expect(await queue.get('check-1')).toMatchObject({ state: 'done' })
  // Swept with every hundredth end.
  expect(counts.done - 1).toBeGreaterThanOrEqual(1_000)
  expect(counts.done - 1).toBeLessThan(1_100)
})

it('lets work wait again that was running when the process died, until it ran once more than its tries allow', async () => {
  const asRunning = (id: string, attempts: number) => ({
    id,
    kind: 'note',
    state: 'running',
    priority: 10,
    payload: '0',
    attempts,
    attemptsMax: 2,
    dueAtMs: 0,
    progressPpm: 0,
    progressNote: '',
    result: null,
    error: null,
    createdAtMs: 0,
    endedAtMs: null,
  })
  const rows = [asRunning('first-try', 1), asRunning('last-try', 2), asRunning('one-more', 3)]
  await database.catalogue.insertInto('work').values(rows).execute()
  open()
  await queue.start()
  expect(await queue.get('first-try')).toMatchObject({ state: 'waiting', attempts: 1 })
  expect(await queue.get('last-try')).toMatchObject({ state: 'waiting', attempts: 2 })
  expect(await queue.get('one-more')).toMatchObject({ state: 'dead', error: { code: 'internal' } })
})

it('keeps at it when the table cannot be written, and loses neither result nor work', async () => {
  let broken = false
  const catalogue = database.catalogue.withPlugin({
    transformQuery: ({ node }) => {
      if (broken && node.kind === 'UpdateQueryNode') throw new Error('disk trouble')
      return node
    },
    transformResult: async ({ result }) => result,
  })
  const reports: unknown[] = []
  open({ database: { catalogue }, report: (error) => reports.push(error) })
  let runs = 0
  queue.handle('note', 1, async () => {
    runs += 1
    broken = true
    return 'once'
  })
  await queue.start()
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  const ended = queue.ended('a')
  await until(() => reports.length === 1 && held.timers().length === 1)
  held.advance(1_000)
  await until(() => reports.length === 2 && held.timers().length === 1)
  broken = false
  held.advance(1_000)
  expect(await ended).toMatchObject({ state: 'done', result: 'once' })
  expect(runs).toBe(1)
  expect(reports.map(String)).toEqual(['Error: disk trouble', 'Error: disk trouble'])
})

it('hands out later what it could not claim at first', async () => {
  let broken = true
  const catalogue = database.catalogue.withPlugin({
    transformQuery: ({ node }) => {
      if (broken && node.kind === 'UpdateQueryNode') throw new Error('disk trouble')
      return node
    },
    transformResult: async ({ result }) => result,
  })
  broken = false
  open({ database: { catalogue } }).handle('note', 1, async () => 'done')
  await queue.start()
  broken = true
  await queue.enqueue({ id: 'a', kind: 'note', payload: 0 })
  await until(() => held.timers().length === 1)
  broken = false
  held.advance(1_000)
  expect(await queue.ended('a')).toMatchObject({ state: 'done', attempts: 1 })
})
