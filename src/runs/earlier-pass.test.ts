// A later pass knows what an earlier one did with each label, by its identity.
import { rm } from 'node:fs/promises'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import {
  closeBench,
  damageEntry,
  lay,
  openPass,
  openPassBench,
  passJob,
  reportsOf,
  sealRun,
} from '../../tests/fixtures/passes.ts'
import { type Bench, code, event, openBench, short } from '../../tests/fixtures/runs.ts'

let bench: Bench
beforeEach(async () => {
  bench = await openPassBench()
})
afterEach(() => closeBench(bench))

const mismatch = 'skip pass-mismatch'
const labels = (design: string, from: number, count: number) =>
  Array.from({ length: count }, (_, i) => code(design, from + i))

describe('a second pass', () => {
  it('lays on what the first laid, rewound: the other way round and the other end first', async () => {
    const first = await openPass(bench, 1)
    const roll = [...labels('A', 1, 6), ...labels('B', 7, 6)]
    expect(await lay(first, roll)).toEqual(roll.map(() => 'lay'))
    await sealRun(first)
    const second = await openPass(bench, 2, { rewound: true })
    expect(await lay(second, roll.toReversed())).toEqual(roll.map(() => 'lay'))
    const answers = (await second.answersOf(1)) ?? []
    expect(answers.map(({ rotateDeg, layers }) => [rotateDeg, layers.length])).toEqual([
      [180, 1],
      [180, 1],
    ])
  })

  it('leaves out what the first skipped, revoked, left off, half laid or knows nothing of, and what it never saw', async () => {
    const first = await openPass(bench, 1)
    const roll = labels('A', 1, 8)
    await lay(first, [roll[0]!, code('A', 2, '09'), ...roll.slice(2)])
    await first.clear({
      by: 'lead',
      why: 'looked',
      cause: { flag: 'print-version-mismatch', job: 'J', design: 'A', print: '09' },
      after: 'resume',
    })
    await first.laid(reportsOf(['full', 'none', 'none', 'part', 'unknown', 'full', undefined, 'full']))
    await sealRun(first)
    const second = await openPass(bench, 2)
    expect(await lay(second, [...roll, code('A', 99), null])).toEqual([
      'lay',
      mismatch,
      mismatch,
      mismatch,
      mismatch,
      // Five in fifty stop the web.
      'lay',
      'lay',
      'lay',
      'stop pass-mismatch',
      'skip no-read',
    ])
  })

  it('leaves out what was laid with another version, and what another version left bare', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('A', 1), code('A', 2, '03'), code('C', 3), code('C', 4, '03')])
    await sealRun(first)
    const second = await openPass(bench, 2)
    // A serial names one label, whatever else its code says.
    expect(await lay(second, [code('A', 1, '03'), code('A', 2, '03'), code('C', 3, '03'), code('C', 4, '03')])).toEqual(
      [mismatch, 'lay', mismatch, 'lay'],
    )
  })

  it('has nothing to compare where the version has no layers in an earlier pass', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('D', 1), null])
    const second = await openPass(bench, 2)
    expect(await lay(second, [code('D', 1), code('D', 2)])).toEqual(['lay', 'lay'])
    const third = await openPass(bench, 3)
    expect(await lay(third, [code('D', 1), code('D', 5), code('E', 5), null])).toEqual([
      ...['lay', mismatch, mismatch, 'skip no-read'],
    ])
  })

  it('takes set-up labels for waste, but uses them for its own set-up', async () => {
    const setUp = [code('A', 1), code('B', 2)] as const
    const first = await openPass(bench, 1, { setUp })
    await sealRun(first)
    const second = await openPass(bench, 2, { setUp })
    expect(second.state.counts).toMatchObject({ lay: 2, setup: 2 })
    await second.startProving({ by: 'lead' })
    expect(short((await second.frames([event(1, [code('A', 8), code('B', 9)])])).answers)).toEqual([mismatch, mismatch])
    const third = await openPass(bench, 2, { roll: 'R2' })
    expect(await lay(third, setUp)).toEqual([mismatch, mismatch])
  })

  it('holds what a recall revoked between the passes against the label, and not what was laid before', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('A', 1), code('B', 2)])
    await lay(first, [code('A', 3), code('B', 4)], 9)
    const recall = { job: 'J', design: 'B', version: 1 }
    bench.catalogue.change([...bench.catalogue.current().jobs.values()], [{ ...recall, by: 'QA', why: 'colour' }])
    expect(await bench.runs.recalled(recall)).toEqual([{ runId: first.runId, revoked: 1 }])
    await sealRun(first)
    const second = await openPass(bench, 2)
    expect(await lay(second, [code('A', 3), code('B', 4), code('A', 1), code('B', 2)])).toEqual([
      'lay',
      mismatch,
      'lay',
      'lay',
    ])
  })

  it('finds labels whatever their roll is called now', async () => {
    const runs = [await openPass(bench, 1, { roll: 'R1' }), await openPass(bench, 1, { roll: 'R2' })]
    await lay(runs[0]!, labels('A', 1, 2))
    await lay(runs[1]!, labels('A', 11, 2))
    await sealRun(runs[0]!)
    const second = await openPass(bench, 2, { roll: 'R1-and-R2' })
    expect(await lay(second, [...labels('A', 1, 2), ...labels('A', 11, 2), ...labels('A', 21, 2)])).toEqual([
      ...['lay', 'lay', 'lay', 'lay'],
      ...[mismatch, mismatch],
    ])
  })

  it('does not tie a serial that two labels carry', async () => {
    const first = await openPass(bench, 1)
    expect(await lay(first, [code('A', 1), code('A', 2), code('A', 1), null])).toEqual([
      'lay',
      'lay',
      'skip duplicate',
      'skip no-read',
    ])
    const other = await openPass(bench, 1, { roll: 'R2' })
    expect(await lay(other, [code('A', 2), code('A', 3)])).toEqual(['skip duplicate', 'lay'])
    await sealRun(first)
    await sealRun(other)
    const second = await openPass(bench, 2)
    expect(await lay(second, labels('A', 1, 3).concat(code('B', 9)))).toEqual([mismatch, mismatch, 'lay', mismatch])
  })

  it('follows a web that was backed up, and does not tie what was skipped as a duplicate of what lies elsewhere', async () => {
    const first = await openPass(bench, 1)
    await lay(first, labels('A', 1, 4))
    // Backed up by one frame, and threaded anew.
    const again = (frame: number, positionMm: number, texts: string[]) =>
      first.frames([event(frame, texts, positionMm)])
    expect(short((await again(3, 120, labels('A', 3, 2))).answers)).toEqual(['skip already-laid', 'skip already-laid'])
    await first.material({ event: 're-thread', by: 'lead' })
    expect(short((await again(4, 0, labels('A', 3, 2))).answers)).toEqual(['lay', 'lay'])
    await first.prove({ by: 'lead', lanes: [1, 2] })
    expect(short((await again(5, 60, labels('A', 1, 2))).answers)).toEqual(['skip duplicate', 'skip duplicate'])
    await sealRun(first)
    const rest = await openPass(bench, 1)
    expect(await lay(rest, [code('A', 1), code('A', 5)])).toEqual(['skip duplicate', 'lay'])
    await sealRun(rest)
    const second = await openPass(bench, 2)
    // Labels 1 and 2 came again, they or twins of theirs; those of the second proving got their layer twice.
    expect(await lay(second, [...labels('A', 1, 4), code('A', 5), null])).toEqual([
      ...[mismatch, mismatch, mismatch, mismatch],
      ...['lay', 'skip no-read'],
    ])
  })

  it.each(['while it goes on', 'sealed'])('lays on no twin that another run of the roll skipped, %s', async (how) => {
    const first = await openPass(bench, 1)
    await lay(first, labels('A', 1, 2))
    const rest = await openPass(bench, 1)
    expect(await lay(rest, [code('A', 2), code('A', 3)])).toEqual(['skip duplicate', 'lay'])
    if (how === 'sealed') for (const run of [first, rest]) await sealRun(run)
    const second = await openPass(bench, 2)
    expect(await lay(second, [...labels('A', 1, 3), null])).toEqual(['lay', mismatch, 'lay', 'skip no-read'])
  })

  it.each(['while it goes on', 'sealed'])(
    'lays nothing on a text that contradicts the label laid at its place, %s',
    async (how) => {
      const first = await openPass(bench, 1)
      await lay(first, [code('A', 1), code('B', 2), code('C', 8), code('C', 9)])
      const back = await first.frames([event(3, [code('A', 3), code('B', 4)], 60)])
      expect(short(back.answers)).toEqual(['skip out-of-sequence already-laid', 'stop out-of-sequence already-laid'])
      if (how === 'sealed') await sealRun(first)
      const second = await openPass(bench, 2)
      expect(await lay(second, [code('A', 3), code('B', 4), code('A', 1), code('B', 2)])).toEqual([
        ...[mismatch, mismatch, 'lay', 'lay'],
      ])
    },
  )

  it('still lays what only the second pass has where the first skipped it in a frame off its phase', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('C', 1), code('C', 2)])
    const off = await first.frames([event(2, [code('D', 3), null], 145)])
    expect(short(off.answers)[0]).toContain('out-of-sequence')
    await sealRun(first)
    const second = await openPass(bench, 2)
    expect(await lay(second, [code('D', 3), null])).toEqual(['lay', 'skip no-read'])
  })

  it('takes no label for bare where a run of the first pass can not be read', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('C', 1), code('C', 2)])
    const setUp = labels('A', 51, 2) as [string, string]
    const other = await openPass(bench, 1, { roll: 'R2', setUp })
    await lay(other, labels('A', 11, 2))
    await damageEntry(bench, code('C', 1))
    const second = await openPass(bench, 2, { setUp })
    // C's second version has layers in pass 2 alone, and so has D; C was laid with its first in pass 1.
    expect(await lay(second, [code('C', 1, '03'), code('C', 2, '03'), code('D', 3), code('A', 11)])).toEqual([
      ...[mismatch, mismatch, mismatch, 'lay'],
    ])
  })

  it('sees what the first pass does beside it, and what is opened later', async () => {
    const first = await openPass(bench, 1)
    await lay(first, labels('A', 1, 2))
    const second = await openPass(bench, 2, { roll: 'R1-a' })
    expect(await lay(second, labels('A', 1, 4))).toEqual(['lay', 'lay', mismatch, mismatch])
    await lay(first, labels('A', 5, 2), 2)
    await first.laid([{ frame: 2, cell: 2, laid: 'none' }])
    expect(await lay(second, labels('A', 5, 2), 3)).toEqual(['lay', mismatch])
    const later = await openPass(bench, 1, { roll: 'R3' })
    await lay(later, labels('A', 7, 2))
    expect(await lay(second, labels('A', 7, 2), 4)).toEqual(['lay', 'lay'])
    await sealRun(first)
    await lay(later, labels('A', 9, 2), 2)
    await sealRun(later)
    expect(await lay(second, labels('A', 9, 2), 5)).toEqual(['lay', 'lay'])
  })

  it.each(['with its snapshots', 'without', 'with damaged ones'])('answers the same after a crash, %s', async (how) => {
    const first = await openPass(bench, 1)
    await lay(first, labels('A', 1, 8))
    await first.laid(reportsOf([undefined, 'none', 'part', undefined, undefined, 'unknown']))
    await sealRun(first)
    const second = await openPass(bench, 2)
    await lay(second, labels('A', 1, 4))
    const kept = bench.database.catalogue
    if (how === 'without') await kept.deleteFrom('meta').where('key', 'like', 'serials/%').execute()
    if (how === 'with damaged ones') await rm(path.join(bench.folder, 'blobs'), { recursive: true })
    await bench.restart()
    const again = await bench.runs.get(second.runId)
    expect(await lay(again, labels('A', 5, 4), 3)).toEqual(['lay', mismatch, 'lay', 'lay'])
    expect(short((await again.answersOf(1))?.concat((await again.answersOf(2)) ?? []) ?? [])).toEqual([
      ...['lay', mismatch, mismatch, 'lay'],
    ])
    const other = await openPass(bench, 2, { roll: 'R2' })
    expect(await lay(other, [code('A', 2), code('A', 1)])).toEqual([mismatch, 'skip duplicate'])
  })
})

describe('labels without a serial', () => {
  it('can not be tied to an earlier pass', async () => {
    await bench.close()
    bench = await openBench([passJob(false)])
    const texts = ['J/A/02', 'J/D/02']
    const first = await bench.open({ override: true })
    await first.startProving({ by: 'lead' })
    await first.frames([event(0, texts), event(1, texts)])
    const second = await bench.open({ override: true, ticket: { pass: 2 } })
    await second.startProving({ by: 'lead' })
    expect(short((await second.frames([event(0, texts)])).answers)).toEqual([mismatch, 'lay'])
  })

  it('are let pass where another version of the design may lie on them', async () => {
    await bench.close()
    bench = await openBench([passJob(false)])
    const second = await bench.open({ override: true, ticket: { pass: 2 } })
    await second.startProving({ by: 'lead' })
    // C's second version has layers in pass 2 alone, its first in pass 1.
    expect(short((await second.frames([event(0, ['J/C/03', 'J/D/02'])])).answers)).toEqual([mismatch, 'lay'])
  })
})
