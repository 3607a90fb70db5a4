// The next ticket of a run: from which frame it holds, what stays, and what needs a run of its own.
import { afterEach, describe, expect, it } from 'vitest'
import {
  type Bench,
  code,
  event,
  job,
  line,
  openBench,
  pitchMm,
  publishedJobs,
  short,
  ticket,
  version,
} from '../../tests/fixtures/runs.ts'
import { sha256, sha256Hex } from '../kernel/bytes.ts'
import { systemClock } from '../kernel/clock.ts'
import { storedLines, verifyLedger } from '../ledger/index.ts'
import { putLine, putTicket } from '../lines/index.ts'
import { finishedRolls } from './finished-names.ts'
import type { Run } from './run.ts'

let bench: Bench
afterEach(() => bench.close())

const store = (change: object) =>
  putTicket({ database: bench.database, clock: systemClock }, ticket({ ticket: 'T2', jobs: [{ job: 'K' }], ...change }))
const change = (run: Run, more: object = {}) =>
  bench.runs.changeTicket(run, { ticket: 'T2', by: 'lead', why: 'next order', ...more })
const z = (serial: number, print = '02') => code('Z', serial, print, 'K')

describe('the next ticket of a run', () => {
  it('holds from the next frame on: labels of the one before are another job then, and its own are laid', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await store({})
    const given = event(1, [code('A', 1), z(2)])
    const before = await run.frames([given])
    expect(short(before.answers)).toEqual(['lay', 'stop other-job'])
    const cause = { flag: 'other-job' as const, job: 'K', design: 'Z', print: '02' }
    await run.clear({ by: 'lead', why: 'next order begins', cause, after: 'resume' })
    await change(run)
    expect(run.state).toMatchObject({ name: 'open', ticket: { ticket: 'T2' } })
    const { answers } = await run.frames([event(2, [z(3), code('A', 4)])])
    expect(short(answers)).toEqual(['lay', 'stop other-job'])
    expect(answers[0]?.layers[0]?.digest).toBe(sha256Hex('Z/1/varnish'))
    expect((await run.frames([given])).answers).toEqual(before.answers)
  })

  it('leaves pictures that were taken before it to the ticket before', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await store({})
    await run.capture({ frame: 1, positionMm: pitchMm, digest: sha256Hex('1') })
    await change(run)
    await run.capture({ frame: 2, positionMm: 2 * pitchMm, digest: sha256Hex('2') })
    const texts = (first: string, second: string) => [
      { cell: 1, text: first, symbology: ']Q1' },
      { cell: 2, text: second, symbology: ']Q1' },
    ]
    await run.pictureRead(1, texts(code('A', 1), z(2)))
    await bench.restart()
    const again = await bench.runs.get(run.runId)
    await again.pictureRead(2, texts(z(3), z(4)))
    const { answers } = await again.answersAfter(-1, 1000)
    expect(short(answers.filter(({ frame }) => frame > 0))).toEqual(['lay', 'stop other-job', 'lay', 'lay'])
  })

  it('is there again after a restart, in the record that verifies, and in the row by which runs are found', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await store({})
    await change(run)
    await run.frames([event(1, [z(1), z(2)])])
    const rows = () => bench.database.catalogue.selectFrom('runs').select(['jobs', 'roll', 'ticket']).execute()
    await bench.restart()
    const again = await bench.runs.get(run.runId)
    expect(await rows()).toEqual([{ jobs: '["J","K"]', roll: 'R1', ticket: 'T1' }])
    expect(again.state.tickets).toEqual(run.state.tickets)
    expect(again.state.tickets.map((row) => row.ticket.ticket)).toEqual(['T1', 'T2'])
    expect(short((await again.frames([event(2, [z(1), z(4)])])).answers)).toEqual(['skip duplicate', 'lay'])
    const lines = storedLines(bench.database, run.runId)
    expect(await verifyLedger({ lines, heads: await bench.database.ledgerHeads(run.runId), sha256 })).toMatchObject({
      ok: true,
      state: 'open',
    })
  })

  it('puts its row right where the process died between the entry and the row', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await store({})
    await change(run)
    await bench.database.catalogue.updateTable('runs').set({ jobs: '["J"]' }).execute()
    await bench.restart()
    const rows = await bench.database.catalogue.selectFrom('runs').select('jobs').execute()
    expect(rows).toEqual([{ jobs: '["J","K"]' }])
  })

  it('is refused where its roll would name what follows the last split as another roll is named, until that is ended', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([1, 2, 3, 4].map((frame) => event(frame, [code('A', 2 * frame), code('B', 2 * frame + 1)])))
    await run.material({ event: 'split', positionUm: 120_000, roll: 'R2-2', by: 'lead' })
    await store({ roll: 'R2' })
    await expect(change(run)).rejects.toThrow('another roll of the run is called R2-2')
    await run.material({ event: 'split', positionUm: 240_000, roll: 'E', by: 'lead' })
    await change(run)
    // Without that split the names would be the same again.
    const last = run.state.material.at(-1)?.index ?? 0
    await expect(run.material({ event: 'void', voids: last, by: 'lead' })).rejects.toMatchObject({
      code: 'material-not-voidable',
    })
  })

  it('begins a finished roll of its own behind the rest that was not run of the roll before', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([1, 2, 3, 4].map((frame) => event(frame, [code('A', 2 * frame), code('B', 2 * frame + 1)])))
    await run.material({ event: 'split', positionUm: 300_000, roll: 'E', by: 'lead' })
    await run.material({ event: 'partial', positionUm: 300_000, roll: 'R1-rest', by: 'lead' })
    await store({ roll: 'R2' })
    await change(run)
    await run.frames([event(5, [z(1), z(2)])])
    await run.close({ by: 'lead' })
    await run.material({ event: 'rewind', roll: 'R2-2', by: 'lead' })
    expect(finishedRolls(run.state).map(({ name }) => name)).toEqual(['E', 'R2-2'])
  })

  it('keeps proving as it is: neither asked for again nor ended', async () => {
    bench = await openBench()
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, [code('A', 1), code('B', 2)])])
    await store({})
    await change(run)
    expect(run.state.setUps).toHaveLength(1)
    await run.prove({ by: 'lead', lanes: [1, 2] })
    expect(run.state.name).toBe('open')
  })

  it('knows serials of its jobs that another run laid', async () => {
    bench = await openBench()
    const other = await bench.openProved()
    await store({})
    await change(other)
    await other.frames([event(1, [z(1), z(2)])])
    await other.close({ by: 'lead' })
    await other.seal({ by: 'lead' })
    await bench.restart()
    const run = await bench.openProved()
    await change(run)
    expect(short((await run.frames([event(1, [z(1), z(3)])])).answers)).toEqual(['skip duplicate', 'lay'])
  })
})

describe('a recall after a change of ticket', () => {
  const withdrawn = (of: string, design: string) =>
    publishedJobs().map((row) =>
      row.job === of
        ? {
            ...row,
            designs: new Map(
              [...row.designs].map(([name, versions]) => [
                name,
                name === design
                  ? versions.map((v) => ({ ...v, state: 'withdrawn' as const, withdrawnAtMs: 5 }))
                  : versions,
              ]),
            ),
          }
        : row,
    )

  it('reaches labels of the ticket before and of the one now', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('B', 1), code('A', 2)])])
    await store({})
    await change(run)
    await run.frames([event(2, [z(3), z(4)])])
    bench.catalogue.change(withdrawn('J', 'B'), [{ job: 'J', design: 'B', version: 1, by: 'qa', why: 'wrong' }])
    // The set-up label of frame 0 and that of frame 1.
    expect(await bench.runs.recalled({ job: 'J', design: 'B', version: 1 })).toEqual([{ runId: run.runId, revoked: 2 }])
    bench.catalogue.change(withdrawn('K', 'Z'), [{ job: 'K', design: 'Z', version: 1, by: 'qa', why: 'wrong' }])
    expect(await bench.runs.recalled({ job: 'K', design: 'Z', version: 1 })).toEqual([{ runId: run.runId, revoked: 2 }])
    expect(short((await run.frames([event(3, [z(5), z(6)])])).answers)).toEqual(['skip withdrawn', 'skip withdrawn'])
  })
})

describe('a ticket that cannot follow', () => {
  it.each([
    ['another pass', { pass: 2 }, 'pass'],
    ['fewer cells on the roll', { cells: [1] }, 'cells on the roll'],
    ['the other end of the frame first', { leadEdge: 'bottom' }, 'cells on the roll'],
  ])('with %s needs a new run', async (_, differing, named) => {
    bench = await openBench()
    const run = await bench.openProved()
    await store(differing)
    const entries = run.state.nextIndex
    await expect(change(run)).rejects.toMatchObject({
      code: 'ticket-needs-new-run',
      message: expect.stringContaining(named),
    })
    expect(run.state.nextIndex).toBe(entries)
  })

  it('with another frame needs a new run', async () => {
    const [first] = publishedJobs()
    const other = job('P', [version('A', 1)])
    bench = await openBench([first!, { ...other, frame: { ...other.frame, pitchMm: 61 } }])
    const run = await bench.openProved()
    await store({ jobs: [{ job: 'P' }] })
    await expect(change(run)).rejects.toMatchObject({ code: 'ticket-needs-new-run', place: { measured: 'pitchMm' } })
  })

  it('with blockers is refused, unless a named person overrides: then they are in the record', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await store({})
    bench.conditions.set(sha256Hex('Z/1/varnish'), 'damaged')
    await expect(change(run)).rejects.toMatchObject({ code: 'not-ready' })
    await change(run, { override: true })
    await run.close({ by: 'lead' })
    const rows = await bench.database.readLedger({ runId: run.runId, from: 0, count: 1000 })
    const steps = rows
      .map(({ bytes }) => JSON.parse(Buffer.from(bytes).toString()))
      .filter(({ type }) => type === 'step')
    expect(steps.at(-2).body).toMatchObject({ to: 'open', by: 'lead', why: 'next order' })
    expect(JSON.parse(steps.at(-2).body.override)).toMatchObject([{ code: 'damaged-layer' }])
  })

  it('is held against the profile that the run opened with, too', async () => {
    bench = await openBench()
    const run = await bench.openProved({ line: { ...line, heightUmMax: 70 } })
    await putLine({ database: bench.database, clock: systemClock }, line)
    bench.catalogue.change([
      ...publishedJobs(),
      job('H', [version('A', 1, { layers: [{ ...version('A', 1).layers[0]!, heightUm: 100 }] })]),
    ])
    await store({ jobs: [{ job: 'H' }] })
    await expect(change(run)).rejects.toThrow('height-over-limit')
  })

  it('is refused where it is not stored, is the one that runs, or the run takes no frames', async () => {
    bench = await openBench()
    const run = await bench.open()
    await expect(change(run, { ticket: 'none' })).rejects.toMatchObject({ code: 'run-state' })
    await run.startProving({ by: 'lead' })
    await expect(change(run, { ticket: 'none' })).rejects.toMatchObject({ code: 'ticket-not-found' })
    await expect(change(run, { ticket: 'T1' })).rejects.toMatchObject({ code: 'run-state' })
    await store({})
    await expect(change(run, { second: 'LEAD' })).rejects.toMatchObject({ code: 'second-person-same' })
  })
})
