// Stops of a run: one per cause, escalation, recalls.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, publishedJobs, short } from '../../tests/fixtures/runs.ts'

let bench: Bench
afterEach(() => bench.close())

describe('stops', () => {
  it('asks for one stop per cause, skips its labels while it is open, and stops again after resume', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const bad = code('A', 1, '99')
    const first = await run.frames([event(1, [bad, bad]), event(2, [code('A', 2), bad])])
    expect(short(first.answers)).toEqual([
      'stop print-version-mismatch',
      'skip print-version-mismatch',
      'lay',
      'skip print-version-mismatch',
    ])
    expect(run.state.name).toBe('stopped')
    const cause = { flag: 'print-version-mismatch' as const, job: 'J', design: 'A', print: '99' }
    await run.clear({ by: 'lead', why: 'looked', cause, after: 'resume' })
    expect(run.state.name).toBe('open')
    expect(short((await run.frames([event(3, [bad, null])])).answers)).toEqual([
      'stop print-version-mismatch',
      'skip no-read',
    ])
    await run.clear({ by: 'lead', why: 'old section', cause, after: 'skip-rest' })
    expect(short((await run.frames([event(4, [bad, bad])])).answers)).toEqual([
      'skip print-version-mismatch',
      'skip print-version-mismatch',
    ])
    expect(run.state.name).toBe('open')
    await expect(run.clear({ by: 'lead', why: 'again', cause, after: 'resume' })).rejects.toMatchObject({
      code: 'cause-not-open',
    })
  })

  it('stays stopped until the last open cause is cleared', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1, '99'), code('B', 1, '99')])])
    const cause = (design: string) => ({ flag: 'print-version-mismatch' as const, job: 'J', design, print: '99' })
    await run.clear({ by: 'lead', why: 'looked', cause: cause('A'), after: 'skip-rest' })
    expect(run.state.name).toBe('stopped')
    await run.clear({ by: 'lead', why: 'looked', cause: cause('B'), after: 'skip-rest' })
    expect(run.state.name).toBe('open')
  })

  it('turns the third unknown code within twenty labels into a stop, and counts anew after it was cleared', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const answers = []
    for (let i = 1; i <= 3; i++) answers.push(...(await run.frames([event(i, [`x${i}`, code('B', i)])])).answers)
    expect(short(answers)).toEqual(['skip unknown-code', 'lay', 'skip unknown-code', 'lay', 'stop unknown-code', 'lay'])
    await run.clear({ by: 'lead', why: 'looked', cause: { flag: 'unknown-code' }, after: 'resume' })
    expect(short((await run.frames([event(4, ['x4', 'x5']), event(5, ['x6', null])])).answers)).toEqual([
      'skip unknown-code',
      'skip unknown-code',
      'stop unknown-code',
      'skip no-read',
    ])
  })

  it('does not stop for flagged labels that are spread out', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const answers = []
    for (let i = 1; i <= 60; i++)
      answers.push(
        ...(await run.frames([event(i, [i % 10 === 0 ? `x${i}` : code('A', i), code('B', 100 + i)])])).answers,
      )
    expect(answers.filter((answer) => answer.decision === 'stop')).toEqual([])
    expect(answers.filter((answer) => answer.flags.includes('unknown-code'))).toHaveLength(6)
  })
})

describe('a recall while the run is open', () => {
  const recall = [{ job: 'J', design: 'A', version: 2, by: 'qa', why: 'wrong text' }]

  it('revokes what has not passed its point of no return, asks for one stop, and stops laying at once', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    // Points of no return lie 383 mm behind the frame: at 480 mm, frame 1 (443 mm) has passed, frames 2 to 8 have not.
    for (let i = 1; i <= 8; i++) await run.frames([event(i, [code('A', i), code('B', 100 + i)])])
    bench.catalogue.change(publishedJobs(), recall)
    expect(await bench.runs.recalled({ job: 'J', design: 'A', version: 2 })).toEqual([{ runId: 'T1.1', revoked: 7 }])
    expect(run.state.name).toBe('stopped')
    const page = await run.answersAfter(-1, 1000)
    expect(page.revocations.map((row) => row.frame)).toEqual([2, 3, 4, 5, 6, 7, 8])
    expect(page.answers.filter((answer) => answer.revokedBy !== undefined).map((answer) => answer.frame)).toEqual([
      2, 3, 4, 5, 6, 7, 8,
    ])
    const next = await run.frames([event(9, [code('A', 9), code('A', 10, '01')])])
    expect(short(next.answers)).toEqual(['skip withdrawn', 'lay'])
    await run.clear({
      by: 'lead',
      why: 'recalled',
      cause: { flag: 'withdrawn', job: 'J', design: 'A' },
      after: 'skip-rest',
    })
    expect(run.state.name).toBe('open')
  })

  it('returns the original answer with its revocation on a repeat', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    const given = event(1, [code('A', 1), code('B', 2)])
    const before = await run.frames([given])
    bench.catalogue.change(publishedJobs(), recall)
    await bench.runs.recalled({ job: 'J', design: 'A', version: 2 })
    const after = await run.frames([given])
    expect(after.answers[0]).toEqual({
      ...before.answers[0],
      revokedBy: run.state.revoked.get(before.answers[0]?.ledgerIndex ?? -1),
    })
    expect(after.answers[0]?.revokedBy).toBeGreaterThan(0)
  })
})
