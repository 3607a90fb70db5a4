// What every database adapter must keep (src/storage/port.ts).
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { sha256, sha256Hex } from '../../src/kernel/bytes.ts'
import type { Database, LedgerBatch } from '../../src/storage/index.ts'
import type { DatabaseAdapter } from './database-adapters.ts'
import { startFixture, takeLines } from './fixtures/spawn.ts'

const rootOf = (runId: string, size: number) => sha256Hex(`${runId} ${size}`)

/** A batch whose entries hold the texts. */
function batch(
  texts: readonly string[],
  { runId = 'run-a', epoch = 1, firstIndex = 0 }: { runId?: string; epoch?: number; firstIndex?: number } = {},
): LedgerBatch {
  const entries = texts.map((text) => ({ bytes: Buffer.from(text), leaf: sha256(text) }))
  return { runId, epoch, firstIndex, entries, root: rootOf(runId, firstIndex + texts.length) }
}

async function textsOf(database: Database, runId = 'run-a'): Promise<string[]> {
  const rows = await database.readLedger({ runId, from: 0, count: 1_000_000 })
  expect(rows.map(({ index }) => index)).toEqual(rows.map((_, i) => i))
  return rows.map(({ bytes }) => Buffer.from(bytes).toString())
}

export function describeDatabase(adapter: DatabaseAdapter): void {
  describe(`database on ${adapter.name}`, () => {
    let where: string
    let database: Database

    const reopen = async () => {
      await database.close()
      database = await adapter.open(where)
    }
    const refused = (promise: Promise<unknown>, code: string) => expect(promise).rejects.toMatchObject({ code })

    beforeEach(async () => {
      where = await mkdtemp(join(tmpdir(), 'rollcall-database-'))
      database = await adapter.open(where)
    })
    afterEach(async () => {
      await database.close()
      await rm(where, { recursive: true })
    })

    it('gives entries back byte by byte, in order, with their leaves', async () => {
      const bytes = Buffer.from([0, 255, 10, 13, 0])
      const leaf = sha256(bytes)
      await database.appendLedger([
        { runId: 'run-a', epoch: 1, firstIndex: 0, entries: [{ bytes, leaf }], root: rootOf('run-a', 1) },
      ])
      await database.appendLedger([batch(['b', 'c', 'd'], { firstIndex: 1 })])
      const [first] = await database.readLedger({ runId: 'run-a', from: 0, count: 1 })
      expect(first && { ...first, bytes: Buffer.from(first.bytes), leaf: Buffer.from(first.leaf) }).toEqual({
        index: 0,
        bytes,
        leaf: Buffer.from(leaf),
      })
      const rows = await database.readLedger({ runId: 'run-a', from: 2, count: 10 })
      expect(rows.map(({ index, bytes }) => [index, Buffer.from(bytes).toString()])).toEqual([
        [2, 'c'],
        [3, 'd'],
      ])
      expect(await database.readLedger({ runId: 'run-a', from: 4, count: 10 })).toEqual([])
      expect(await database.readLedger({ runId: 'run-b', from: 0, count: 10 })).toEqual([])
    })

    it('holds an entry that is larger than a page', async () => {
      const text = 'x'.repeat(300_000)
      await database.appendLedger([batch([text])])
      expect(await textsOf(database)).toEqual([text])
    })

    it('keeps the head of every commit, and finds the one that holds an entry', async () => {
      await database.appendLedger([batch(['a', 'b'])])
      await database.appendLedger([batch(['c'], { firstIndex: 2 })])
      await database.appendLedger([batch(['x'], { runId: 'run-b' })])
      const [two, three] = [2, 3].map((treeSize) => ({ treeSize, root: rootOf('run-a', treeSize) }))
      expect(await database.ledgerHeads('run-a')).toEqual([two, three])
      expect(await database.ledgerHead('run-a')).toEqual(three)
      const found = await Promise.all([0, 1, 2, 3].map((index) => database.ledgerHead('run-a', index)))
      expect(found).toEqual([two, two, three, undefined])
      expect(await database.ledgerHead('run-c')).toBeUndefined()
      expect(await database.ledgerHeads('run-c')).toEqual([])
    })

    it('refuses a lower epoch and takes the same or a higher one', async () => {
      await database.appendLedger([batch(['a'], { epoch: 3 })])
      await refused(database.appendLedger([batch(['b'], { epoch: 2, firstIndex: 1 })]), 'run-held-elsewhere')
      await database.appendLedger([batch(['b'], { epoch: 3, firstIndex: 1 })])
      await database.appendLedger([batch(['c'], { epoch: 5, firstIndex: 2 })])
      await refused(database.appendLedger([batch(['d'], { epoch: 4, firstIndex: 3 })]), 'run-held-elsewhere')
      expect(await textsOf(database)).toEqual(['a', 'b', 'c'])
    })

    it('remembers the epoch of each run across a reopening', async () => {
      await database.appendLedger([batch(['a'], { epoch: 7 }), batch(['x'], { runId: 'run-b', epoch: 1 })])
      await reopen()
      await refused(database.appendLedger([batch(['b'], { epoch: 6, firstIndex: 1 })]), 'run-held-elsewhere')
      await database.appendLedger([batch(['y'], { runId: 'run-b', epoch: 1, firstIndex: 1 })])
      expect(await textsOf(database, 'run-b')).toEqual(['x', 'y'])
    })

    it.each([
      ['leaves a gap', 3],
      ['overlaps what is there', 1],
      ['repeats what is there', 0],
    ])('refuses a batch that %s and writes nothing of it', async (_, firstIndex) => {
      await database.appendLedger([batch(['a', 'b'])])
      await refused(database.appendLedger([batch(['z'], { firstIndex })]), 'run-held-elsewhere')
      expect(await textsOf(database)).toEqual(['a', 'b'])
      expect(await database.ledgerHeads('run-a')).toHaveLength(1)
    })

    it('commits batches of several runs together, or none of them', async () => {
      await database.appendLedger([batch(['a']), batch(['b'], { firstIndex: 1 }), batch(['x'], { runId: 'run-b' })])
      const bad = [batch(['c'], { firstIndex: 2 }), batch(['y'], { runId: 'run-b', firstIndex: 5 })]
      await refused(database.appendLedger(bad), 'run-held-elsewhere')
      await reopen()
      expect(await textsOf(database, 'run-a')).toEqual(['a', 'b'])
      expect(await textsOf(database, 'run-b')).toEqual(['x'])
    })

    it('agrees with a model over any sequence of good and bad batches', async () => {
      const step = fc.record({
        runId: fc.constantFrom('run-a', 'run-b', 'run-c'),
        epoch: fc.integer({ min: 0, max: 3 }),
        shift: fc.constantFrom(0, 0, 0, -1, 1),
        texts: fc.array(fc.string({ minLength: 1, maxLength: 5 }), { minLength: 1, maxLength: 3 }),
      })
      let round = 0
      await fc.assert(
        fc.asyncProperty(fc.array(step, { maxLength: 12 }), async (steps) => {
          round += 1
          const model = new Map<string, { epoch: number; texts: string[] }>()
          for (const { runId: name, epoch, shift, texts } of steps) {
            const runId = `${name}-${round}`
            const run = model.get(runId) ?? { epoch: 0, texts: [] }
            const firstIndex = Math.max(run.texts.length + shift, 0)
            const good = epoch >= run.epoch && firstIndex === run.texts.length
            const appended = database.appendLedger([batch(texts, { runId, epoch, firstIndex })])
            if (good) await appended
            else await refused(appended, 'run-held-elsewhere')
            if (good) model.set(runId, { epoch, texts: [...run.texts, ...texts] })
          }
          for (const [runId, { texts }] of model) {
            expect(await textsOf(database, runId)).toEqual(texts)
            expect((await database.ledgerHead(runId))?.treeSize).toBe(texts.length)
          }
        }),
        { numRuns: 40 },
      )
    })

    it('finds entries that contain a text, of this run only, up to the count asked for', async () => {
      await database.appendLedger([batch(['{"text":"A-1"}', '{"text":"É-2"}', '{"text":"A-12"}', 'A-1'])])
      await database.appendLedger([batch(['A-1'], { runId: 'run-b' })])
      expect(await database.searchLedger({ runId: 'run-a', text: 'A-1', count: 10 })).toEqual([0, 2, 3])
      expect(await database.searchLedger({ runId: 'run-a', text: 'A-1', count: 2 })).toEqual([0, 2])
      expect(await database.searchLedger({ runId: 'run-a', text: 'É-2', count: 10 })).toEqual([1])
      expect(await database.searchLedger({ runId: 'run-a', text: '%', count: 10 })).toEqual([])
      expect(await database.searchLedger({ runId: 'run-c', text: 'A-1', count: 10 })).toEqual([])
    })

    it('searches a long ledger to its end, and lets other work in meanwhile', async () => {
      const rows = 70_000
      await database.appendLedger([batch(Array.from({ length: rows }, (_, i) => `row ${i};`))])
      let turns = 0
      let searching = true
      const count = () => {
        turns += 1
        if (searching) setImmediate(count)
      }
      setImmediate(count)
      const found = await database.searchLedger({ runId: 'run-a', text: '9999;', count: 100 })
      searching = false
      expect(found).toEqual([9_999, 19_999, 29_999, 39_999, 49_999, 59_999, 69_999])
      expect(turns).toBeGreaterThan(2)
    })

    it('appends while a catalogue transaction is open, which then takes nothing back with it', async () => {
      let open = () => {}
      const opened = new Promise<void>((resolve) => {
        open = resolve
      })
      let abort: (error: Error) => void = () => {}
      const aborted = new Promise<never>((_, reject) => {
        abort = reject
      })
      const transaction = database.catalogue.transaction().execute(async (catalogue) => {
        await catalogue.insertInto('meta').values({ key: 'half', value: 'done' }).execute()
        open()
        await aborted
      })
      await opened
      await database.appendLedger([batch(['a'])])
      abort(new Error('rolled back'))
      await expect(transaction).rejects.toThrow('rolled back')
      await reopen()
      expect(await textsOf(database)).toEqual(['a'])
      expect(await database.catalogue.selectFrom('meta').selectAll().where('key', '=', 'half').execute()).toEqual([])
    })

    it('refuses to edit, delete or replace anything in a ledger, even past the port', async () => {
      await database.appendLedger([batch(['a', 'b'])])
      await database.close()
      for (const statement of [
        `update entries set bytes = x'00'`,
        'delete from entries',
        'insert or replace into entries select * from entries',
        `update heads set root = x'00'`,
        'delete from heads',
        'insert or replace into heads select * from heads',
        `update runs set runId = 'other'`,
        'delete from runs',
        'insert or replace into runs select * from runs',
      ]) {
        expect(() => adapter.editLedger(where, statement), statement).toThrow('append-only')
      }
      database = await adapter.open(where)
      expect(await textsOf(database)).toEqual(['a', 'b'])
    })

    it('reports an append that the engine cannot do as an unavailable ledger', async () => {
      await database.close()
      await refused(database.appendLedger([batch(['a'])]), 'ledger-unavailable')
      database = await adapter.open(where)
    })

    it.each([0, 3, 25, 90])('loses no append that resolved when it is killed after %i of them', async (appends) => {
      const fixture = startFixture('append-until-killed.ts', adapter.name, where, 'run-k')
      const seen = [...(await takeLines(fixture, appends + 1)), ...(await fixture.kill())]
      const answered = Number(seen.at(-1))
      await reopen()
      const texts = await textsOf(database, 'run-k')
      expect(texts.length).toBeGreaterThanOrEqual(answered)
      expect(texts).toEqual(texts.map((_, i) => `entry ${i}`))
      expect((await database.ledgerHead('run-k'))?.treeSize).toBe(texts.length)
      await refused(
        database.appendLedger([batch(['gap'], { runId: 'run-k', firstIndex: texts.length + 1 })]),
        'run-held-elsewhere',
      )
      await refused(
        database.appendLedger([batch(['old'], { runId: 'run-k', epoch: 0, firstIndex: texts.length })]),
        'run-held-elsewhere',
      )
      await database.appendLedger([batch(['on'], { runId: 'run-k', epoch: 2, firstIndex: texts.length })])
    })

    it('holds numbers beyond 32 bits, absent values and long texts in the catalogue', async () => {
      const row = {
        job: 'j',
        package: 1,
        title: 't',
        digest: 'd',
        manifest: 'm'.repeat(2_000_000),
        report: '{}',
        codeIndex: null,
        bytes: 64 * 1024 ** 3,
        publishedAtMs: 1_700_000_000_000,
        by: 'ada',
      }
      const version = {
        job: 'j',
        design: 'lime',
        version: 1,
        digest: 'd',
        content: '{}',
        firstPackage: 1,
        releasedAtMs: 1_700_000_000_001,
        withdrawnAtMs: null,
      }
      await database.catalogue.insertInto('packages').values(row).execute()
      await database.catalogue.insertInto('versions').values(version).execute()
      await reopen()
      expect(await database.catalogue.selectFrom('packages').selectAll().execute()).toEqual([row])
      expect(await database.catalogue.selectFrom('versions').selectAll().execute()).toEqual([version])
    })

    it('numbers acts in the order of their insertion', async () => {
      const act = { atMs: 1, by: 'ada', why: '', job: 'j', package: null, design: null, version: null }
      for (const name of ['publish', 'release', 'withdraw']) {
        await database.catalogue
          .insertInto('acts')
          .values({ ...act, act: name })
          .execute()
      }
      const acts = await database.catalogue.selectFrom('acts').select(['id', 'act']).orderBy('id').execute()
      expect(acts.map(({ act }) => act)).toEqual(['publish', 'release', 'withdraw'])
    })

    it('refuses a second row under the same key, and a version of a package that is not there', async () => {
      const line = { line: 'l1', revision: 1, digest: 'd', content: '{}', storedAtMs: 1 }
      await database.catalogue.insertInto('lines').values(line).execute()
      await expect(database.catalogue.insertInto('lines').values(line).execute()).rejects.toThrow()
      const stray = { job: 'nowhere', package: 1, design: 'x', version: 1 }
      await expect(database.catalogue.insertInto('packageVersions').values(stray).execute()).rejects.toThrow()
    })
  })
}
