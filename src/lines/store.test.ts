// Lines and tickets as they are read, refused and stored by revision.
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { problemOf } from '../../tests/fixtures/packages.ts'
import { line, ticket } from '../../tests/fixtures/runs.ts'
import { type Database, openSqlite } from '../storage/index.ts'
import { getLine, getTicket, listNames, parseLine, parseTicket, putLine, putTicket } from './store.ts'

let folder: string
let database: Database
let nowMs = 1_000
const clock = { nowMs: () => nowMs, monotonicMs: () => 0 }

beforeEach(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'rollcall-lines-'))
  database = await openSqlite({ folder })
})
afterEach(async () => {
  await database.close()
  await rm(folder, { recursive: true, force: true })
})

describe('stored lines and tickets', () => {
  it('rise in revision with each new content, and not with the same one', async () => {
    const store = { database, clock }
    expect(await putLine(store, line)).toMatchObject({ revision: 1 })
    expect(await putLine(store, { ...line })).toMatchObject({ revision: 1 })
    expect(await putLine(store, { ...line, title: 'other rollers' })).toMatchObject({ revision: 2 })
    // Going back to what there was before is a change too.
    expect(await putLine(store, line)).toMatchObject({ revision: 3 })
    expect(await putTicket(store, ticket())).toMatchObject({ revision: 1 })
    expect(await putTicket(store, ticket({ pass: 2 }))).toMatchObject({ revision: 2 })
  })

  it('count the order of keys as nothing', async () => {
    const store = { database, clock }
    const turned = Object.fromEntries(Object.entries(line).toReversed()) as typeof line
    const first = await putLine(store, line)
    expect(await putLine(store, turned)).toMatchObject({ revision: 1, digest: first.digest })
  })

  it('are given out as their newest revision', async () => {
    const store = { database, clock }
    await putTicket(store, ticket())
    await putTicket(store, ticket({ regulated: true }))
    expect(await getTicket(store, 'T1')).toMatchObject({ revision: 2, content: { regulated: true } })
    await putLine(store, line)
    expect((await getLine(store, 'L1')).content).toEqual(line)
  })

  it('keep every revision with the time that it was stored', async () => {
    nowMs = 1_000
    await putTicket({ database, clock }, ticket())
    nowMs = 2_000
    await putTicket({ database, clock }, ticket({ pass: 2 }))
    const rows = await database.catalogue.selectFrom('tickets').selectAll().orderBy('revision').execute()
    expect(rows.map((row) => [row.revision, row.storedAtMs, JSON.parse(row.content).pass])).toEqual([
      [1, 1_000, 1],
      [2, 2_000, 2],
    ])
  })

  it('are listed by name, once each', async () => {
    const store = { database, clock }
    for (const name of ['T2', 'T1', 'T1']) await putTicket(store, ticket({ ticket: name, roll: `${name}x` }))
    await putLine(store, line)
    expect(await listNames(store)).toEqual({ lines: ['L1'], tickets: ['T1', 'T2'] })
  })

  it('are refused by name where there are none', async () => {
    expect(await problemOf(getLine({ database }, 'L9'))).toMatchObject({ code: 'line-not-found' })
    expect(await problemOf(getTicket({ database }, 'T9'))).toMatchObject({ code: 'ticket-not-found' })
  })
})

const findingsOf = async (work: () => unknown) => {
  const { code, findings } = await problemOf(Promise.resolve().then(work))
  return [code, ...findings.map(({ pointer, message }) => `${pointer} ${message}`)]
}

describe('a line profile', () => {
  it('is refused with all that is wrong with it', async () => {
    const { title: _title, ...rest } = line
    expect(await findingsOf(() => parseLine({ ...rest, webWidthMmMax: -1, colour: 'red' }))).toEqual([
      'line-schema',
      '/title is missing',
      '/webWidthMmMax expected number to be >0',
      '/colour the schema knows no "colour" here',
    ])
  })

  it('is refused with every row of its policy that is laxer', async () => {
    const policy = { withdrawn: { decision: 'lay' }, late: { stopAfter: { count: 9, within: 20 } } }
    expect(await findingsOf(() => parseLine({ ...line, policy }))).toEqual([
      'line-schema',
      '/policy/withdrawn/decision the policy of withdrawn may only be stricter than the default',
      '/policy/late/stopAfter the line may ask for a stop after late earlier than the default, not later',
    ])
  })
})

describe('a ticket', () => {
  it('may name a lead edge or a number of a chart, not both', async () => {
    expect(ticket({ leadEdge: 'left' }).leadEdge).toBe('left')
    const unwind = { chart: 'house', number: 3 }
    expect(await findingsOf(() => ticket({ leadEdge: 'left', unwind }))).toEqual([
      'ticket-schema',
      '/unwind a chart number stands for leadEdge; give one of the two',
    ])
  })

  it('may have reels side by side on a station', () => {
    const reel = { station: 'foil', foil: 'gold', widthMm: 100 }
    const foils = [
      { ...reel, leftMm: 100 },
      { ...reel, leftMm: 0 },
    ]
    expect(ticket({ foils }).foils).toEqual(foils)
  })

  it('is refused when it says two things of one job, design or station', async () => {
    const twice = {
      jobs: [
        {
          job: 'J',
          pins: [
            { design: 'A', version: 1 },
            { design: 'A', version: 2 },
          ],
        },
        { job: 'J' },
      ],
      foils: [
        { station: 'foil', foil: 'gold' },
        { station: 'foil', foil: 'silver' },
      ],
    }
    expect(await findingsOf(() => ticket(twice))).toEqual([
      'ticket-schema',
      '/jobs/0/pins a design is pinned twice',
      '/jobs a job is named twice',
      '/foils reels of one station overlap',
    ])
  })

  it('is refused when it is no ticket at all', async () => {
    expect(await findingsOf(() => parseTicket(null))).toEqual(['ticket-schema', ' expected object, received null'])
    expect(await findingsOf(() => parseTicket([]))).toEqual(['ticket-schema', ' expected object, received array'])
  })
})
