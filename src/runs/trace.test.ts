// Where a code went: every label that carried it, known to a job or not, set-up, laid, revoked.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, job, openBench, version } from '../../tests/fixtures/runs.ts'
import { sha256Hex } from '../kernel/bytes.ts'
import { traceCode } from './trace.ts'

let bench: Bench
afterEach(() => bench.close())

const labels = (sightings: Awaited<ReturnType<typeof traceCode>>) =>
  sightings.map(({ answer }) => `${answer.frame}/${answer.cell} ${answer.decision}`)

describe('tracing a code', () => {
  it('finds every label that carried it, with what was laid', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), code('A', 2)]), event(2, [code('A', 2), code('B', 3)])])
    await run.laid([{ frame: 1, cell: 2, laid: 'full' }])
    const found = await traceCode(bench.database, run, code('A', 2))
    expect(labels(found)).toEqual(['1/2 lay', '2/1 skip'])
    expect(found[0]).toMatchObject({
      runId: run.runId,
      ticket: 'T1',
      roll: 'R1',
      pass: 1,
      positionMm: 60,
      laid: 'full',
      answer: { identity: { serial: '000002', version: 2 } },
    })
    expect(found[1]).not.toHaveProperty('laid')
    expect(found[1]?.answer.flags).toEqual(['duplicate'])
  })

  it('finds set-up labels and tells of revocations', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.withdraw({ by: 'q', why: 'w', job: 'J', design: 'A', version: 2 })
    const [sighting] = await traceCode(bench.database, run, code('A', 900_001))
    expect(sighting?.answer).toMatchObject({ setup: true, decision: 'lay', revokedBy: expect.any(Number) })
  })

  it('finds a code that no job knew, at the cell where it was read', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), 'quoted "text" \\ é'])])
    expect(labels(await traceCode(bench.database, run, 'quoted "text" \\ é'))).toEqual(['1/2 skip'])
  })

  it('takes a code whole: neither a part of one nor other words of the record are found', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), code('A', 12)])])
    for (const text of ['J/A/02/00000', 'skip', 'J', '', '%', code('A', 1).toLowerCase()])
      expect(await traceCode(bench.database, run, text)).toEqual([])
  })

  it('finds a code that was read from a picture, in the order of the labels', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    for (const frame of [1, 2]) await run.capture({ frame, positionMm: frame * 60, digest: sha256Hex(`${frame}`) })
    await run.pictureRead(2, [{ cell: 1, text: code('A', 5) }])
    await run.pictureRead(1, [{ cell: 2, text: code('A', 5) }])
    expect(labels(await traceCode(bench.database, run, code('A', 5)))).toEqual(['1/2 lay', '2/1 skip'])
  })

  it('finds all the labels that one code of a lane stands for', async () => {
    const plain = job('J', [version('A', 1)])
    const frame = {
      ...plain.frame,
      cells: plain.frame.cells.map((cell) => ({
        ...cell,
        lane: 1,
        row: cell.cell,
        topMm: (cell.cell - 1) * 28,
        heightMm: 26,
      })),
      codeAt: { ...plain.frame.codeAt, identifies: 'lane' as const },
    }
    bench = await openBench([{ ...plain, frame }])
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([{ frame: 0, positionMm: 0, reads: [{ lane: 1, text: code('A', 1) }] }])
    expect(labels(await traceCode(bench.database, run, code('A', 1)))).toEqual(['0/1 lay', '0/2 lay'])
  })
})
