// The line of the log for each stop: one a stop, with all that a person needs.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, publishedJobs } from '../../tests/fixtures/runs.ts'
import { type StopNote, stopNotes } from './stop-note.ts'

let bench: Bench
afterEach(() => bench.close())

async function noted() {
  const notes: StopNote[] = []
  bench = await openBench(publishedJobs(), { onWritten: (run, entries) => notes.push(...stopNotes(run, entries)) })
  return { run: await bench.openProved(), notes }
}

describe('the note of a stop', () => {
  it('says run, ticket, roll, line, label, flag, cause, design, code, and what mends it', async () => {
    const { run, notes } = await noted()
    await run.frames([event(1, [code('A', 7, '99'), code('B', 1)])])
    expect(notes).toEqual([
      {
        run: 'T1.1',
        ticket: 'T1',
        roll: 'R1',
        line: 'L1',
        pass: 1,
        frame: 1,
        cell: 1,
        lane: 1,
        place: 1,
        positionMm: 60,
        noReturnMm: 60 + 383,
        flag: 'print-version-mismatch',
        flags: ['print-version-mismatch'],
        cause: 'print-version-mismatch/J/A/99',
        job: 'J',
        design: 'A',
        print: '99',
        text: code('A', 7, '99'),
        mend: expect.stringContaining('release a version that fits'),
      },
    ])
  })

  it('comes once for each cause, also where the web is to be stopped already', async () => {
    const { run, notes } = await noted()
    await run.frames([event(1, [code('A', 1, '99'), code('B', 1, '99')]), event(2, [code('A', 2, '99'), null])])
    expect(notes.map(({ cause }) => cause)).toEqual(['print-version-mismatch/J/A/99', 'print-version-mismatch/J/B/99'])
    const cause = { flag: 'print-version-mismatch' as const, job: 'J', design: 'A', print: '99' }
    await run.clear({ by: 'lead', why: 'looked', cause, after: 'skip-rest' })
    expect(notes).toHaveLength(2)
  })

  it('tells the text that no job knows, as it was read', async () => {
    const { run, notes } = await noted()
    for (let i = 1; i <= 3; i++) await run.frames([event(i, [`stray-${i}`, code('B', i)])])
    expect(notes).toMatchObject([{ flag: 'unknown-code', frame: 3, cell: 1, text: 'stray-3' }])
  })

  it('says of a recall who asked for it and why, without a label', async () => {
    const { run, notes } = await noted()
    await run.withdraw({ job: 'J', design: 'A', version: 2, by: 'qa', why: 'wrong text' })
    expect(notes).toMatchObject([
      { flag: 'withdrawn', design: 'A', by: 'qa', why: 'wrong text', cause: 'withdrawn/J/A' },
    ])
    expect(notes[0]).not.toHaveProperty('frame')
  })
})
