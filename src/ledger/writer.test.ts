// The ledger writer on a database in memory: places at once, group commits, failed commits, opening again.
import { setImmediate as nextTurn } from 'node:timers/promises'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { MemoryLedger } from '../../tests/fixtures/memory-ledger.ts'
import { answerDraft, countingRandom, heldClock, sampleRun } from '../../tests/fixtures/sample-entries.ts'
import { sha256 } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import { decodeEntry } from './codec.ts'
import type { EntryDraft } from './entries.ts'
import { leafHash, rootOfLeaves } from './merkle.ts'
import type { RunLedger } from './run-ledger.ts'
import { type LedgerWriter, openLedgerWriter } from './writer.ts'

let database: MemoryLedger
let clock: ReturnType<typeof heldClock>
let writer: LedgerWriter
let ledger: RunLedger

const openWriter = (): LedgerWriter => openLedgerWriter({ database, clock, random: countingRandom() })
beforeEach(async () => {
  database = new MemoryLedger()
  clock = heldClock()
  writer = openWriter()
  ledger = await writer.open('A', 1)
})
afterEach(async () => {
  database.release()
  await writer.drain()
})

const note = (text: string): EntryDraft => ({ type: 'act', body: { act: 'note', by: 'M. Okafor', why: text } })
const rows = (runId = 'A') => database.run(runId).rows
const storedRoot = (runId = 'A') =>
  Buffer.from(
    rootOfLeaves(
      sha256,
      rows(runId).map(({ leaf }) => leaf),
    ),
  ).toString('hex')
const unavailable = () => new Problem('ledger-unavailable', 'the disk is gone')
/** Appends and waits until the commit is under way and held. */
const appendHeld = async (text: string) => {
  database.hold()
  const appended = ledger.append([note(text)])
  await vi.waitUntil(() => database.calls.length > 0)
  return appended
}

describe('appending', () => {
  it('gives indices, time and salt at once, before anything is stored', () => {
    const first = ledger.append([note('a'), note('b')])
    clock.advance(5)
    const second = ledger.append([note('c')])
    expect([first.firstIndex, second.firstIndex, ledger.nextIndex]).toEqual([0, 2, 3])
    expect(first.entries).toMatchObject([
      { v: 1, index: 0, epoch: 1, type: 'act', atMs: 1_790_000_000_000 },
      { v: 1, index: 1 },
    ])
    expect(second.entries).toMatchObject([{ index: 2, atMs: 1_790_000_000_005 }])
    expect(first.entries[0]?.salt).toBe('0102030405060708090a0b0c0d0e0f10')
    expect(first.entries[1]?.salt).toBe('1112131415161718191a1b1c1d1e1f20')
    expect(rows()).toHaveLength(0)
  })

  it('never gives random bytes twice, however many salts are drawn', async () => {
    let n = 0
    const random = vi.fn((count: number) => {
      const bytes = Buffer.alloc(count)
      for (let at = 0; at < count; at += 4) bytes.writeUInt32BE(n++, at)
      return bytes
    })
    const run = await openLedgerWriter({ database, clock, random }).open('salts', 1)
    const { entries, durable } = run.append(Array.from({ length: 600 }, () => note('x')))
    expect(new Set(entries.map(({ salt }) => salt)).size).toBe(600)
    expect(entries.every(({ salt }) => /^[0-9a-f]{32}$/.test(salt))).toBe(true)
    await durable
  })

  it('stores what it gave, with leaf and root, and resolves with the head of that commit', async () => {
    const { durable, entries } = ledger.append([note('a'), answerDraft({ frame: 0, cell: 1 })])
    const head = await durable
    expect(rows().map(({ bytes }) => decodeEntry(bytes))).toEqual(entries)
    for (const { bytes, leaf } of rows()) expect(Buffer.from(leafHash(sha256, bytes))).toEqual(Buffer.from(leaf))
    expect(head).toEqual({ treeSize: 2, root: storedRoot() })
    expect(ledger.head).toEqual(head)
    expect(await database.ledgerHeads('A')).toEqual([head])
  })

  it('is not durable before the commit is', async () => {
    const { durable } = await appendHeld('a')
    const settled = vi.fn()
    void durable.then(settled)
    await nextTurn()
    expect(settled).not.toHaveBeenCalled()
    expect(ledger.head.treeSize).toBe(0)
    database.release()
    expect((await durable).treeSize).toBe(1)
  })

  it('fails on an append without entries', () => {
    expect(() => ledger.append([])).toThrow('invariant broken')
  })

  it('leaves the ledger as it was when one of the entries cannot be written', async () => {
    expect(() => ledger.append([note('fine'), note('half a pair: \ud800')])).toThrow(
      expect.objectContaining({ code: 'bad-request' }),
    )
    expect(ledger.nextIndex).toBe(0)
    await ledger.append([note('a')]).durable
    expect(rows()).toHaveLength(1)
    expect(ledger.head.root).toBe(storedRoot())
  })
})

describe('the group commit', () => {
  it('takes all appends of one turn of the event loop in one commit', async () => {
    const waits = [ledger.append([note('a')]), ledger.append([note('b')])]
    await Promise.resolve()
    waits.push(ledger.append([note('c'), note('d')]))
    const heads = await Promise.all(waits.map(({ durable }) => durable))
    expect(database.calls).toHaveLength(1)
    expect(heads).toEqual(Array.from({ length: 3 }, () => ({ treeSize: 4, root: storedRoot() })))
  })

  it('takes everything that came while a commit was under way in the next one', async () => {
    const first = await appendHeld('first')
    const waits = []
    for (let i = 0; i < 50; i += 1) {
      waits.push(ledger.append([note(`later ${i}`)]))
      await nextTurn()
    }
    expect(database.calls).toHaveLength(1)
    database.release()
    expect((await first.durable).treeSize).toBe(1)
    for (const { durable } of waits) expect((await durable).treeSize).toBe(51)
    expect(database.calls.map(([batch]) => batch?.entries.length)).toEqual([1, 50])
    expect(database.calls[1]?.[0]).toMatchObject({ runId: 'A', epoch: 1, firstIndex: 1, root: storedRoot() })
  })

  it('commits several runs together, one batch each', async () => {
    const other = await writer.open('B', 4)
    const waits = [ledger.append([note('a')]), other.append([note('b')]), ledger.append([note('c')])]
    const heads = await Promise.all(waits.map(({ durable }) => durable))
    expect(database.calls).toHaveLength(1)
    expect(database.calls[0]).toMatchObject([
      { runId: 'A', epoch: 1, firstIndex: 0, entries: [{}, {}] },
      { runId: 'B', epoch: 4, firstIndex: 0, entries: [{}] },
    ])
    expect(heads.map(({ treeSize }) => treeSize)).toEqual([2, 1, 2])
    expect(heads[1]?.root).toBe(storedRoot('B'))
  })

  it('keeps the order of appends over many commits, under the roots of the whole tree', async () => {
    const { batches } = sampleRun(30)
    const roots = new Map<number, string>()
    for (const drafts of batches) {
      const { durable } = ledger.append(drafts)
      void durable.then(({ treeSize, root }) => roots.set(treeSize, root))
      if (drafts.length % 2 === 1) await durable
    }
    await writer.drain()
    const leaves = rows().map(({ bytes }) => leafHash(sha256, bytes))
    expect(rows().map(({ bytes }) => decodeEntry(bytes).body)).toEqual(batches.flat().map(({ body }) => body))
    expect(roots.size).toBeGreaterThan(10)
    for (const [treeSize, root] of roots) {
      expect(Buffer.from(rootOfLeaves(sha256, leaves.slice(0, treeSize))).toString('hex')).toBe(root)
    }
  })

  it('tells listeners of entries, runs and time of each commit, until they have enough', async () => {
    const seen = vi.fn()
    const forget = writer.onCommit(seen)
    const other = await writer.open('B', 1)
    await appendHeld('a')
    clock.advance(7)
    database.release()
    await writer.drain()
    ledger.append([note('b'), note('c')])
    other.append([note('d')])
    await writer.drain()
    forget()
    await ledger.append([note('e')]).durable
    expect(seen.mock.calls).toEqual([[{ entries: 1, batches: 1, ms: 7 }], [{ entries: 3, batches: 2, ms: 0 }]])
  })

  it('drains what joined while it was draining', async () => {
    await appendHeld('a')
    const drained = writer.drain()
    ledger.append([note('b')])
    database.release()
    await drained
    expect(rows()).toHaveLength(2)
    await writer.drain()
  })
})

describe('a failed commit', () => {
  it('rejects what was in it and what came after it, and every later append, with the same Problem', async () => {
    const problem = new Problem('data-full', 'no room')
    const listener = vi.fn()
    writer.onCommit(listener)
    const first = await appendHeld('a')
    const second = ledger.append([note('b')])
    database.nextFailure = problem
    database.release()
    await expect(first.durable).rejects.toBe(problem)
    await expect(second.durable).rejects.toBe(problem)
    expect(ledger.failed).toBe(problem)
    expect(() => ledger.append([note('c')])).toThrow(problem)
    await writer.drain()
    expect(rows()).toHaveLength(0)
    expect(database.calls).toHaveLength(1)
    expect(listener).not.toHaveBeenCalled()
  })

  it('becomes ledger-unavailable when the database gave no Problem', async () => {
    database.nextFailure = new Error('EIO')
    await expect(ledger.append([note('a')]).durable).rejects.toMatchObject({
      code: 'ledger-unavailable',
      message: 'EIO',
    })
  })

  it('does not end the process when nobody watches the promise', async () => {
    const unhandled = vi.fn()
    process.on('unhandledRejection', unhandled)
    database.nextFailure = unavailable()
    ledger.append([note('a')])
    await writer.drain()
    await nextTurn()
    process.off('unhandledRejection', unhandled)
    expect(unhandled).not.toHaveBeenCalled()
    expect(ledger.failed?.code).toBe('ledger-unavailable')
  })

  it('takes down every run of the group, and no other', async () => {
    const [b, c] = [await writer.open('B', 1), await writer.open('C', 1)]
    database.nextFailure = unavailable()
    const waits = [ledger.append([note('a')]), b.append([note('b')])]
    for (const { durable } of waits) await expect(durable).rejects.toMatchObject({ code: 'ledger-unavailable' })
    expect([ledger.failed?.code, b.failed?.code, c.failed]).toEqual([
      'ledger-unavailable',
      'ledger-unavailable',
      undefined,
    ])
    expect((await c.append([note('c')]).durable).treeSize).toBe(1)
  })

  it('for a run that is held elsewhere now leaves the others of the group alone', async () => {
    const [b, c] = [await writer.open('B', 1), await writer.open('C', 1)]
    database.run('B').epoch = 9
    const waits = [ledger.append([note('a')]), b.append([note('b')]), c.append([note('c')])]
    expect((await waits[0]?.durable)?.treeSize).toBe(1)
    await expect(waits[1]?.durable).rejects.toMatchObject({ code: 'run-held-elsewhere' })
    expect((await waits[2]?.durable)?.treeSize).toBe(1)
    expect([ledger.failed, b.failed?.code, c.failed]).toEqual([undefined, 'run-held-elsewhere', undefined])
    expect(database.run('B').rows).toHaveLength(0)
  })

  it('is over when the run is opened again: it goes on behind what is stored', async () => {
    await ledger.append([note('kept')]).durable
    database.nextFailure = unavailable()
    ledger.append([note('lost')])
    await writer.drain()
    const again = await writer.open('A', 2)
    expect([again.nextIndex, again.failed]).toEqual([1, undefined])
    expect((await again.append([note('next')]).durable).treeSize).toBe(2)
    expect(ledger.failed?.code).toBe('ledger-unavailable')
    expect(() => ledger.append([note('ghost')])).toThrow('the disk is gone')
    expect(rows().map(({ bytes }) => decodeEntry(bytes))).toMatchObject([
      { body: { why: 'kept' } },
      { body: { why: 'next' } },
    ])
    expect(ledger.nextIndex).toBe(2)
  })

  it('may have stored its entries all the same: opened again, the run has them once', async () => {
    const whole = database.appendLedger.bind(database)
    database.appendLedger = async (batches) => {
      await whole(batches)
      throw unavailable()
    }
    await expect(ledger.append([note('a')]).durable).rejects.toMatchObject({ code: 'ledger-unavailable' })
    database.appendLedger = whole
    const again = await writer.open('A', 2)
    expect(again.nextIndex).toBe(1)
    await again.append([note('b')]).durable
    expect(rows()).toHaveLength(2)
  })
})

describe('opening a run', () => {
  const fill = async (frames: number) => {
    for (const drafts of sampleRun(frames).batches) await ledger.append(drafts).durable
    await ledger.close()
  }

  it('continues a stored ledger of several pages under the same tree', async () => {
    await fill(500)
    expect(rows().length).toBeGreaterThan(2_048)
    const again = await openWriter().open('A', 2)
    expect(again.nextIndex).toBe(rows().length)
    expect(again.head).toEqual(await database.ledgerHead('A'))
    const { durable, entries } = again.append([note('more')])
    expect(entries[0]).toMatchObject({ index: rows().length, epoch: 2 })
    expect((await durable).root).toBe(storedRoot())
  })

  it('refuses stored bytes that are not what was hashed, naming the entry', async () => {
    await fill(3)
    rows()[5]!.bytes[20]! ^= 1
    await expect(openWriter().open('A', 2)).rejects.toMatchObject({
      code: 'ledger-bad',
      message: expect.stringContaining('entry 5 '),
      place: { row: 6 },
    })
  })

  it('refuses bytes and leaf that were edited together', async () => {
    await fill(3)
    const row = rows()[5]!
    row.bytes[20]! ^= 1
    row.leaf.set(leafHash(sha256, row.bytes))
    await expect(openWriter().open('A', 2)).rejects.toMatchObject({ code: 'ledger-bad', message: /another root/ })
  })

  it('refuses a missing entry in the middle, naming it', async () => {
    await fill(3)
    rows().splice(4, 1)
    await expect(openWriter().open('A', 2)).rejects.toMatchObject({ code: 'ledger-bad', place: { row: 5 } })
  })

  it('refuses a ledger whose last entries, or whose last heads, are gone', async () => {
    await fill(3)
    const [last, head] = [rows().pop()!, database.run('A').heads.at(-1)]
    await expect(openWriter().open('A', 2)).rejects.toMatchObject({
      code: 'ledger-bad',
      place: { row: rows().length + 1 },
    })
    rows().push(last)
    database.run('A').heads.pop()
    await expect(openWriter().open('A', 2)).rejects.toMatchObject({ code: 'ledger-bad' })
    database.run('A').heads.push(head!)
    expect((await openWriter().open('A', 2)).nextIndex).toBe(rows().length)
  })

  it('refuses a run that is open here already, or is being opened', async () => {
    await expect(writer.open('A', 2)).rejects.toMatchObject({ code: 'run-held-elsewhere' })
    const twice = await Promise.allSettled([writer.open('B', 1), writer.open('B', 1)])
    expect(twice.map(({ status }) => status)).toEqual(['fulfilled', 'rejected'])
  })

  it('may be tried again after it failed', async () => {
    await fill(1)
    rows()[2]!.leaf[0]! ^= 1
    await expect(writer.open('A', 2)).rejects.toMatchObject({ code: 'ledger-bad' })
    rows()[2]!.leaf[0]! ^= 1
    expect((await writer.open('A', 2)).nextIndex).toBe(rows().length)
  })
})

describe('closing', () => {
  it('a run takes nothing more, waits for its commit, and can be opened again', async () => {
    const { durable } = await appendHeld('a')
    const closed = ledger.close()
    expect(() => ledger.append([note('b')])).toThrow(expect.objectContaining({ code: 'ledger-unavailable' }))
    await expect(writer.open('A', 2)).rejects.toMatchObject({ code: 'run-held-elsewhere' })
    database.release()
    await closed
    expect((await durable).treeSize).toBe(1)
    expect((await writer.open('A', 2)).nextIndex).toBe(1)
  })

  it('a failed run closes too, and does not close the one that was opened after it', async () => {
    database.nextFailure = unavailable()
    ledger.append([note('a')])
    await writer.drain()
    const again = await writer.open('A', 2)
    await ledger.close()
    await expect(writer.open('A', 3)).rejects.toMatchObject({ code: 'run-held-elsewhere' })
    expect((await again.append([note('b')]).durable).treeSize).toBe(1)
  })

  it('the writer takes nothing more, and ends when all is committed', async () => {
    const { durable } = await appendHeld('a')
    const closed = writer.close()
    expect(() => ledger.append([note('b')])).toThrow(expect.objectContaining({ code: 'ledger-unavailable' }))
    await expect(writer.open('B', 1)).rejects.toMatchObject({ code: 'ledger-unavailable' })
    database.release()
    await closed
    expect((await durable).treeSize).toBe(1)
  })
})
