// Set-up and proving: what is counted, who compared what, and when proving is asked for again.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, pitchMm, short } from '../../tests/fixtures/runs.ts'
import { sha256, sha256Hex } from '../kernel/bytes.ts'
import { storedLines, verifyLedger } from '../ledger/index.ts'
import type { Run } from './run.ts'
import { setUpReport } from './set-up-report.ts'

let bench: Bench
afterEach(() => bench.close())

const setUp = (run: Run, labels = false) => setUpReport(bench.database, run, { labels })
const verified = async (run: Run): Promise<boolean> => {
  const heads = await bench.database.ledgerHeads(run.runId)
  return (await verifyLedger({ lines: storedLines(bench.database, run.runId), heads, sha256 })).ok
}

describe('the set-up of a run', () => {
  it('counts frames and labels by lane, and the web from measured positions, a backed-up web once', async () => {
    bench = await openBench()
    const run = await bench.open()
    await run.startProving({ by: 'lead', why: 'new roll' })
    await run.frames([
      event(0, [code('A', 1), null]),
      event(1, [code('A', 2), code('B', 2)], 61),
      event(2, [code('A', 2), code('B', 2)], 0.5),
      event(3, [code('A', 2), code('B', 2)], 61.2),
      event(4, [null, code('B', 3)], 120),
    ])
    await run.prove({ by: 'lead', second: 'QA', lanes: [1, 2] })
    await run.frames([event(5, [code('A', 5), code('B', 5)], 180)])
    const { sections, labels, webM } = await setUp(run)
    expect(sections).toMatchObject([
      {
        began: { by: 'lead', why: 'new roll' },
        reason: 'first',
        frames: 5,
        firstFrame: 0,
        lastFrame: 4,
        labels: 10,
        lanes: [
          { lane: 1, labels: 5, lay: 2, skip: 3, stop: 0 },
          { lane: 2, labels: 5, lay: 3, skip: 2, stop: 0 },
        ],
        proved: { by: 'lead', second: 'QA', lanes: [1, 2], compared: [] },
      },
    ])
    // From the first mark at 0 mm to one pitch behind the last at 120 mm.
    expect([labels, webM]).toEqual([10, 0.18])
  })

  it('lists labels where they are asked for, with what they were reported', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.laid([{ frame: 0, cell: 2, laid: 'part' }])
    await run.frames([event(1, [code('A', 1), code('B', 1)])])
    const { sections } = await setUp(run, true)
    expect(sections[0]?.list).toEqual([
      { frame: 0, cell: 1, lane: 1, decision: 'lay', code: code('A', 900_001) },
      { frame: 0, cell: 2, lane: 2, decision: 'lay', code: code('B', 900_002), laid: 'part' },
    ])
  })

  it('is the same after a restart', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.material({ event: 're-thread', by: 'lead' })
    await run.frames([event(7, [code('A', 5), null], 3)])
    const before = await setUp(run, true)
    await bench.restart()
    expect(await setUp(await bench.runs.get(run.runId), true)).toEqual(before)
    expect(before.sections.map(({ reason }) => reason)).toEqual(['first', 're-thread'])
  })
})

describe('proving', () => {
  it('is not ended by who names a lane that the web has not', async () => {
    bench = await openBench()
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, [code('A', 1), code('B', 2)])])
    await expect(run.prove({ by: 'lead', lanes: [1, 2, 3] })).rejects.toMatchObject({
      code: 'lanes-not-proved',
      message: 'the run has no lane 3; its lanes are 1, 2',
    })
    expect(run.state.name).toBe('proving')
    await run.prove({ by: 'lead', lanes: [1, 2] })
  })

  it('takes the label that was compared on each lane into the record, with its code', async () => {
    bench = await openBench()
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, [code('A', 1), null]), event(1, [code('A', 2), code('B', 3)])])
    const compared = [
      { lane: 1, frame: 0, cell: 1 },
      { lane: 2, frame: 1, cell: 2 },
    ]
    await run.prove({ by: 'lead', compared, key: 'k1', second: 'QA', secondKey: 'k2' })
    const { sections } = await setUp(run)
    expect(sections[0]?.proved).toMatchObject({
      lanes: [1, 2],
      compared: [
        { ...compared[0], code: code('A', 1) },
        { ...compared[1], code: code('B', 3) },
      ],
    })
    expect(run.state.setUps[0]?.ended?.body).toMatchObject({ key: 'k1', second: 'QA', secondKey: 'k2' })
    expect(await verified(run)).toBe(true)
  })

  it('refuses a label of another lane, one that was skipped, one reported none, and one of before', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.startProving({ by: 'lead', why: 'again' })
    await run.frames([event(1, [code('A', 1), null]), event(2, [code('A', 2), code('B', 3)])])
    await run.laid([{ frame: 1, cell: 1, laid: 'none' }])
    const good = { lane: 2, frame: 2, cell: 2 }
    for (const bad of [
      { lane: 1, frame: 2, cell: 2 },
      { lane: 1, frame: 1, cell: 1 },
      { lane: 1, frame: 0, cell: 1 },
      { lane: 1, frame: 9, cell: 1 },
      { lane: 1, frame: 2, cell: 7 },
    ]) {
      await expect(run.prove({ by: 'lead', compared: [bad, good] })).rejects.toMatchObject({ code: 'lanes-not-proved' })
    }
    await expect(run.prove({ by: 'lead', compared: [good] })).rejects.toThrow('lanes not compared: 1')
    await run.prove({ by: 'lead', lanes: [1], compared: [good] })
    expect(run.state.name).toBe('open')
  })

  it('needs a label that stands as laid on every lane: a report of none takes it away again', async () => {
    bench = await openBench()
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, [code('A', 1), code('B', 2)])])
    await run.laid([{ frame: 0, cell: 1, laid: 'none' }])
    await expect(run.prove({ by: 'lead', lanes: [1, 2] })).rejects.toThrow('no set-up label was laid on lanes 1')
  })

  it('is one person’s word where the second is the same', async () => {
    bench = await openBench()
    const run = await bench.open()
    for (const [by, second] of [
      ['Lead', ' lead '],
      ['Strauß', 'STRAUSS'],
      ['Lead', 'Le\u200bad'],
    ] as const)
      await expect(run.startProving({ by, second })).rejects.toMatchObject({ code: 'second-person-same' })
    expect(run.state.nextIndex).toBe(1)
  })
})

describe('a slipped mark count', () => {
  it('asks for proving again once, behind the answers of its frame, and for a stop as policy says', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const before = run.state.nextIndex
    const { answers } = await run.frames([
      event(1, [code('A', 1), code('B', 101)]),
      event(2, [code('A', 2), code('B', 102)], 2.4 * pitchMm),
      event(3, [code('A', 3), code('B', 103)], 3.4 * pitchMm),
    ])
    expect(short(answers)).toEqual(['lay', 'lay', 'skip out-of-sequence', 'stop out-of-sequence', 'lay', 'lay'])
    expect(answers.map(({ setup }) => setup === true)).toEqual([false, false, false, false, true, true])
    expect(run.state.name).toBe('proving')
    expect(run.state.nextIndex - before).toBe(3 * 3 + 2)
    const { sections } = await setUp(run)
    expect(sections[1]).toMatchObject({
      reason: 'slipped-count',
      began: { by: 'rollcall', why: 'the mark count slipped at frame 2' },
      frames: 1,
    })
    await expect(run.prove({ by: 'lead', lanes: [1, 2] })).rejects.toMatchObject({ code: 'run-state' })
    await run.clear({ by: 'lead', why: 'counted', cause: { flag: 'out-of-sequence' }, after: 'resume' })
    await run.prove({ by: 'lead', lanes: [1, 2] })
    await run.frames([event(4, [code('A', 4), code('B', 104)], 4.4 * pitchMm)])
    expect(run.state.name).toBe('open')
    expect(await verified(run)).toBe(true)
    const { setUps, name, nextIndex } = run.state
    await bench.restart()
    const again = await bench.runs.get(run.runId)
    expect(again.state).toMatchObject({ name, nextIndex })
    expect(again.state.setUps).toEqual(setUps)
  })

  it('asks once for frames that are off one after another, and begins anew what was proved so far', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    for (let i = 1; i <= 4; i++) await run.frames([event(i, [code('A', i), code('B', 100 + i)])])
    // Backed up with a slipped encoder: two marks off the places known.
    await run.frames([event(5, [null, null], 2.4 * pitchMm), event(6, [null, null], 3.4 * pitchMm)])
    expect((await setUp(run)).sections.map(({ reason }) => reason)).toEqual(['first', 'slipped-count'])
    await run.frames([event(7, [code('A', 7), code('B', 107)], 5 * pitchMm)])
    await run.frames([event(8, [null, null], 6.4 * pitchMm)])
    expect((await setUp(run)).sections.map(({ reason }) => reason)).toEqual(['first', 'slipped-count', 'slipped-count'])
    for (const { cause } of run.state.causes.opened())
      await run.clear({ by: 'lead', why: 'looked', cause, after: 'resume' })
    await expect(run.prove({ by: 'lead', lanes: [1, 2] })).rejects.toThrow('no set-up label was laid on lanes 1, 2')
  })

  it('is none where a splice was recorded', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.material({ event: 'splice', positionUm: 70_000 })
    await run.frames([event(1, [code('A', 1), code('B', 101)], 82)])
    expect(run.state.name).toBe('open')
  })

  it('counts the labels of a picture that comes late under the proving that was asked for before it', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.capture({ frame: 1, positionMm: 1.4 * pitchMm, digest: sha256Hex('1') })
    await run.capture({ frame: 2, positionMm: 2.4 * pitchMm, digest: sha256Hex('2') })
    expect(run.state.name).toBe('open')
    const reads = (n: number) => [
      { cell: 1, text: code('A', n), symbology: ']Q1' },
      { cell: 2, text: code('B', 100 + n), symbology: ']Q1' },
    ]
    await run.pictureRead(2, reads(2))
    await run.pictureRead(1, reads(1))
    const { answers } = await run.answersAfter(-1, 1000)
    expect(short(answers.filter(({ frame }) => frame > 0))).toEqual([
      'skip out-of-sequence',
      'stop out-of-sequence',
      'lay',
      'lay',
    ])
    expect(answers.filter(({ setup }) => setup).map(({ frame }) => frame)).toEqual([0, 0, 2, 2])
  })
})
