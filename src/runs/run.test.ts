// A run from opening to seal over a real database: what is answered, when it stops, what stays the same after a restart.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, job, openBench, pitchMm, short, version } from '../../tests/fixtures/runs.ts'
import { sha256Hex } from '../kernel/bytes.ts'

let bench: Bench
afterEach(() => bench.close())

describe('opening and proving', () => {
  it('refuses a ticket with blockers and names each, unless a named person overrides with a reason', async () => {
    bench = await openBench()
    bench.conditions.set(sha256Hex('B/1/varnish'), 'damaged')
    await expect(bench.open()).rejects.toMatchObject({
      code: 'not-ready',
      message: expect.stringContaining('damaged-layer'),
    })
    expect((await bench.open({ override: true })).state.name).toBe('ready')
  })

  it('lays set-up labels as set-up and begins the run proper only when every lane was compared', async () => {
    bench = await openBench()
    const run = await bench.open()
    await expect(run.frames([event(0, [code('A', 1), code('B', 2)])])).rejects.toMatchObject({ code: 'run-state' })
    await run.startProving({ by: 'lead' })
    await expect(run.prove({ by: 'lead', lanes: [1, 2] })).rejects.toMatchObject({ code: 'lanes-not-proved' })
    const { answers } = await run.frames([event(0, [code('A', 1), null])])
    expect(answers.map((answer) => answer.setup)).toEqual([true, true])
    await expect(run.prove({ by: 'lead', lanes: [1] })).rejects.toMatchObject({ code: 'lanes-not-proved' })
    await expect(run.prove({ by: 'lead', lanes: [1, 2] })).rejects.toThrow('no set-up label was laid on lanes 2')
    await run.frames([event(1, [code('A', 3), code('B', 4)])])
    await run.prove({ by: 'lead', lanes: [1, 2] })
    expect(run.state.name).toBe('open')
  })

  it('asks for proving again after a re-threading', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.material({ event: 're-thread' })
    expect(run.state.name).toBe('proving')
    const { answers } = await run.frames([event(7, [code('A', 5), code('B', 6)], 3)])
    expect(answers[0]).toMatchObject({ place: 1, setup: true, decision: 'lay' })
  })

  it('never counts a set-up label as a duplicate', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const { answers } = await run.frames([event(1, [code('A', 900_001), code('B', 7)])])
    expect(short(answers)).toEqual(['lay', 'lay'])
  })
})

describe('answers', () => {
  it('lays the highest released version that fits the print version, with its layers and the point of no return', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const { answers, accepted, pending } = await run.frames([event(1, [code('A', 1, '02'), code('A', 2, '01')])])
    expect({ accepted, pending }).toEqual({ accepted: 1, pending: [] })
    expect(answers.map((answer) => answer.identity?.version)).toEqual([2, 1])
    expect(answers[0]?.layers).toMatchObject([
      { digest: sha256Hex('A/2/varnish'), station: 'inkjet', placement: { widthMm: 50 } },
    ])
    // Frame at 60 mm, label 3 mm behind its mark, station at 400 mm, 20 mm of handling.
    expect(answers[0]?.noReturnMm).toBe(60 + 3 + 400 - 20)
  })

  it.each([
    ['nothing read', null, 'skip no-read'],
    ['text that no rule takes', 'hello', 'skip unknown-code'],
    ['a design that the job does not have', code('Q', 1), 'skip unknown-code'],
    ['a code of another published job', code('Z', 1, '02', 'K'), 'stop other-job'],
    ['a print version that no version fits', code('A', 1, '99'), 'stop print-version-mismatch'],
    ['a design of which only a checked version exists', code('N', 1), 'stop not-released'],
  ])('answers %s', async (_name, text, expected) => {
    bench = await openBench()
    const run = await bench.openProved()
    const { answers } = await run.frames([event(1, [text, code('B', 1)])])
    expect(short(answers)).toEqual([expected, 'lay'])
    expect(answers[0]?.layers).toEqual([])
  })

  it('flags a read with little error correction left and lays it', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const poor = {
      frame: 1,
      positionMm: pitchMm,
      reads: [
        { cell: 1, text: code('A', 1), quality: 0.24 },
        { cell: 2, text: code('A', 2), quality: 0.25 },
      ],
    }
    expect(short((await run.frames([poor])).answers)).toEqual(['lay low-quality', 'lay'])
  })

  it('does not guess between two texts at one cell', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const two = {
      frame: 1,
      positionMm: pitchMm,
      reads: [
        { cell: 1, text: code('A', 1) },
        { cell: 1, text: code('A', 2) },
        { lane: 2, text: code('B', 3) },
      ],
    }
    const { answers } = await run.frames([two])
    expect(short(answers)).toEqual(['skip out-of-sequence', 'lay'])
  })

  it('lays a pinned version and says that a newer one fits; a withdrawn pin stops', async () => {
    const jobs = [job('J', [version('A', 1), version('A', 2), version('B', 1)])]
    bench = await openBench(jobs)
    const run = await bench.openProved({ ticket: { jobs: [{ job: 'J', pins: [{ design: 'A', version: 1 }] }] } })
    const { answers } = await run.frames([event(1, [code('A', 1), code('B', 2)])])
    expect(short(answers)).toEqual(['lay superseded', 'lay'])
    expect(answers[0]?.identity?.version).toBe(1)
  })

  it('never lays an older version in place of a withdrawn one', async () => {
    bench = await openBench([
      job('J', [version('A', 1), version('A', 2, { state: 'withdrawn', withdrawnAtMs: 5 }), version('B', 1)]),
    ])
    const run = await bench.open({ override: true })
    await run.startProving({ by: 'lead' })
    const { answers } = await run.frames([event(0, [code('A', 1), code('B', 2)])])
    expect(short(answers)).toEqual(['stop withdrawn', 'lay'])
  })

  it('stops on a missing or damaged layer and on a foil that is not threaded', async () => {
    bench = await openBench()
    bench.conditions.set(sha256Hex('B/1/varnish'), 'damaged')
    const run = await bench.open({ override: true })
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, [code('A', 1), code('A', 2)])])
    await run.prove({ by: 'lead', lanes: [1, 2] })
    const first = await run.frames([event(1, [code('F', 3), code('B', 4)])])
    expect(short(first.answers)).toEqual(['lay', 'stop damaged-layer'])
    await run.material({ event: 'foil', station: 'foil' })
    bench.conditions.set(sha256Hex('B/1/varnish'), 'missing')
    await bench.runs.sweepLayers()
    const second = await run.frames([event(2, [code('F', 5), code('B', 6)])])
    expect(short(second.answers)).toEqual(['stop no-foil', 'stop missing-layer'])
    await run.material({ event: 'foil', station: 'foil', foil: 'gold' })
    expect(short((await run.frames([event(3, [code('F', 7), code('A', 8)])])).answers)).toEqual(['lay', 'lay'])
  })
})

describe('places, repeats and duplicates', () => {
  it('gives the same answer to the same frame and refuses other reads or another position for it', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const given = event(1, [code('A', 1), code('B', 2)])
    const first = await run.frames([given])
    const entries = run.state.nextIndex
    expect((await run.frames([given])).answers).toEqual(first.answers)
    expect(run.state.nextIndex).toBe(entries)
    await expect(run.frames([event(1, [code('A', 1), null])])).rejects.toMatchObject({ code: 'frame-conflict' })
    await expect(run.frames([event(1, [code('A', 1), code('B', 2)], 61)])).rejects.toMatchObject({
      code: 'frame-conflict',
    })
  })

  it('answers a serial that was laid elsewhere as duplicate, and the same label on a backed-up web as already laid', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), code('B', 2)]), event(2, [code('A', 3), code('B', 4)])])
    const again = await run.frames([event(3, [code('A', 1), code('B', 5)])])
    expect(short(again.answers)).toEqual(['skip duplicate', 'lay'])
    const back = await run.frames([
      event(4, [code('A', 3), code('B', 4)], 2 * pitchMm),
      event(5, [code('A', 1), code('B', 5)], 3 * pitchMm),
    ])
    expect(back.answers.map((answer) => answer.place)).toEqual([2, 2, 3, 3])
    expect(short(back.answers)).toEqual([
      'skip already-laid',
      'skip already-laid',
      'skip duplicate',
      'skip already-laid',
    ])
  })

  it('lays again only what was reported none', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), code('B', 2)])])
    await run.laid([
      { frame: 1, cell: 1, laid: 'none' },
      { frame: 1, cell: 2, laid: 'part' },
    ])
    const back = await run.frames([event(2, [code('A', 1), code('B', 2)], pitchMm)])
    expect(short(back.answers)).toEqual(['lay', 'skip already-laid'])
    await expect(run.laid([{ frame: 1, cell: 1, laid: 'full' }])).rejects.toMatchObject({ code: 'laid-conflict' })
    await expect(run.laid([{ frame: 9, cell: 1, laid: 'full' }])).rejects.toMatchObject({ code: 'label-not-answered' })
  })

  it('skips a backed-up place at which another text was read before', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), null])])
    const back = await run.frames([event(2, [code('A', 8), code('B', 9)], pitchMm)])
    expect(short(back.answers)).toEqual(['skip out-of-sequence already-laid', 'lay'])
  })

  it('refuses frames that go back, leap or name unknown cells, and then has recorded nothing of the request', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(3, [null, null])])
    const entries = run.state.nextIndex
    await expect(run.frames([event(4, [null, null]), event(2, [null, null])])).rejects.toMatchObject({
      code: 'frame-order',
    })
    await expect(run.frames([event(500, [null, null], 4 * pitchMm)])).rejects.toMatchObject({ code: 'frame-leap' })
    await expect(run.frames([event(4, [null, null], 1e8)])).rejects.toMatchObject({ code: 'frame-leap' })
    await expect(run.frames([{ ...event(4, []), reads: [{ cell: 3, text: 'x' }] }])).rejects.toMatchObject({
      code: 'cell-unknown',
      place: { pointer: '/reads/0' },
    })
    expect(run.state.nextIndex).toBe(entries)
  })
})

describe('pictures', () => {
  const picture = (number: number, positionMm = number * pitchMm) => ({
    frame: number,
    positionMm,
    digest: sha256Hex(`picture ${number}`),
  })
  const reads = (texts: readonly string[]) => texts.map((text, i) => ({ cell: i + 1, text, symbology: ']Q1' }))

  it('answers in frame order as pictures are read, whatever the order of reading', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    expect((await run.capture(picture(1))).pending).toEqual([1])
    await run.capture(picture(2))
    await run.pictureRead(2, reads([code('A', 3), code('B', 4)]))
    expect((await run.answersAfter(-1, 1000)).answers.filter((answer) => answer.frame > 0)).toEqual([])
    await run.pictureRead(1, reads([code('A', 1), code('B', 2)]))
    const { answers } = await run.answersAfter(-1, 1000)
    expect(answers.filter((answer) => answer.frame > 0).map((answer) => [answer.frame, answer.cell])).toEqual([
      [1, 1],
      [1, 2],
      [2, 1],
      [2, 2],
    ])
  })

  it('answers late when the web reached the point of no return before the picture was read', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.capture(picture(1))
    const later = await run.frames([event(2, [code('A', 3), code('B', 4)])])
    expect(later.pending).toEqual([2])
    for (let i = 3; i <= 8; i++) await run.frames([event(i, [code('A', 10 + i), code('B', 20 + i)])])
    const { answers } = await run.answersAfter(-1, 1000)
    const first = answers.filter((answer) => answer.frame === 1)
    expect(short(first)).toEqual(['skip late', 'skip late'])
    const entries = run.state.nextIndex
    await run.pictureRead(1, reads([code('A', 1), code('B', 2)]))
    expect(run.state.nextIndex).toBe(entries)
  })

  it('takes the same picture again without a trace and refuses another one for the frame', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.capture(picture(1))
    expect((await run.capture(picture(1))).fresh).toBe(false)
    await expect(run.capture({ ...picture(1), digest: sha256Hex('other') })).rejects.toMatchObject({
      code: 'frame-conflict',
    })
    await expect(run.close({ by: 'lead' })).rejects.toMatchObject({ code: 'run-state' })
  })
})

describe('a restart', () => {
  it('rebuilds the run from its ledger: same answers, same stops, same places, next entries in order', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const bad = code('A', 1, '99')
    await run.frames([event(1, [code('A', 1), code('B', 2)]), event(2, [bad, code('B', 3)])])
    await run.laid([{ frame: 1, cell: 1, laid: 'none' }])
    const before = await run.answersAfter(-1, 1000)
    const { tracker: _t, live: liveBefore, serials: serialsBefore, ...stateBefore } = run.state
    await bench.restart()
    const again = await bench.runs.get(run.runId)
    const { tracker: _u, live: liveAfter, serials: serialsAfter, ...stateAfter } = again.state
    expect(stateAfter).toEqual(stateBefore)
    expect(liveAfter).toEqual(liveBefore)
    expect(serialsAfter.size).toBe(serialsBefore.size)
    expect(await again.answersAfter(-1, 1000)).toEqual(before)
    const repeat = await again.frames([event(1, [code('A', 1), code('B', 2)])])
    expect(repeat.answers).toEqual(before.answers.filter((answer) => answer.frame === 1))
    const back = await again.frames([event(3, [code('A', 1), code('B', 2)], pitchMm)])
    expect(short(back.answers)).toEqual(['lay', 'skip already-laid'])
  })

  it('closes, seals and takes nothing more', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.close({ by: 'lead' })
    await expect(run.frames([event(1, [null, null])])).rejects.toMatchObject({ code: 'run-state' })
    const head = await run.seal({ by: 'lead' })
    expect(head.treeSize).toBe(run.state.nextIndex)
    await expect(run.abort({ by: 'lead', why: 'late' })).rejects.toMatchObject({ code: 'run-state' })
    await bench.restart()
    expect((await bench.runs.get(run.runId)).state.name).toBe('sealed')
  })
})
