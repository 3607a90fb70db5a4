// Outlooks over real sequences: where the roll is by its codes, what probably comes next, in the direction in which it runs.
import { open, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { describe, expect, it, onTestFinished } from 'vitest'
import { type Bench, code, event, openBench } from '../../tests/fixtures/runs.ts'
import { sequenceText } from '../../tests/fixtures/sequences.ts'
import { layoutOf, putSequence } from '../lines/index.ts'
import { openFolderBlobs } from '../storage/index.ts'
import { type ExpectedLabels, readExpected } from './expected-labels.ts'
import { openOutlook } from './outlook.ts'
import { resolverOver } from './resolver-over.ts'
import type { Run } from './run.ts'

/** Two labels a position: design A on cell 1, every tenth F on cell 2, else B; codes with serials. */
const codesOf = (positions: number): string[][] =>
  Array.from({ length: positions }, (_, i) => [code('A', 2 * i), code(i % 10 === 0 ? 'F' : 'B', 2 * i + 1)])

async function expectedOf(bench: Bench, run: Run, text: string): Promise<ExpectedLabels> {
  const file = path.join(bench.folder, 'roll.csv')
  await writeFile(file, text)
  const handle = await open(file, 'r')
  onTestFinished(() => handle.close())
  const { frozen, ticket } = run.state
  const resolver = await resolverOver(bench.catalogue, frozen.jobs)
  return readExpected({ handle, layout: layoutOf(frozen.jobs[0]!.frame, ticket.cells), resolver })
}

async function opened(ticket: object = {}, codes = codesOf(200)) {
  const bench = await openBench()
  onTestFinished(() => bench.close())
  const run = await bench.openProved({ ticket })
  const expected = await expectedOf(bench, run, sequenceText(codes))
  return { bench, run, expected, codes, outlook: openOutlook(run, expected) }
}

const places = (labels: readonly { place: number; cell: number; design: string }[] = []) =>
  labels.map(({ place, cell, design }) => `${place}/${cell} ${design}`)

describe('an outlook', () => {
  it('gives the next frames of the sequence behind the last label whose code stands there', async () => {
    const { run, codes, outlook } = await opened()
    const { answers } = await run.frames([event(1, codes[100]!)])
    const first = outlook(answers)
    expect(first?.place).toBe(2)
    expect(first?.labels).toHaveLength(64)
    expect(places(first?.labels).slice(0, 2)).toEqual(['2/1 A', '2/2 B'])
    expect(places(first?.labels).filter((text) => text.endsWith('F'))).toEqual(['11/2 F', '21/2 F', '31/2 F'])
    const [label] = first!.labels
    expect(label).toMatchObject({ job: 'J', version: 2, layers: [expect.stringMatching(/^[0-9a-f]{64}$/)] })
    // What it tells is what is then answered.
    const { answers: then } = await run.frames([event(2, codes[101]!)])
    expect(then[0]).toMatchObject({ identity: { design: 'A', version: 2 }, layers: [{ digest: label!.layers[0] }] })
  })

  it('comes again when half of it is used up, or when the roll turns out to be elsewhere', async () => {
    const { run, codes, outlook } = await opened()
    const told: number[] = []
    for (let frame = 1; frame < 60; frame++) {
      const { answers } = await run.frames([event(frame, codes[frame + (frame < 40 ? 0 : 50)]!)])
      const found = outlook(answers)
      if (found) told.push(found.place)
    }
    expect(told).toEqual([2, 19, 36, 41, 58])
  })

  it('follows the roll where it runs the other way round', async () => {
    const { run, codes, outlook } = await opened({ direction: 'reversed' })
    const { answers } = await run.frames([event(1, codes[51]!)])
    expect(places(outlook(answers)?.labels).slice(0, 4)).toEqual(['2/1 A', '2/2 F', '3/1 A', '3/2 B'])
  })

  it('ends with the sequence', async () => {
    const { run, codes, outlook } = await opened({}, codesOf(8))
    const { answers } = await run.frames([event(1, codes[5]!)])
    expect(places(outlook(answers)?.labels)).toEqual(['2/1 A', '2/2 B', '3/1 A', '3/2 B'])
    expect(outlook((await run.frames([event(2, codes[7]!)])).answers)).toBeUndefined()
  })

  it('is none where codes are not in the sequence, or stand there more than once', async () => {
    const codes = codesOf(30)
    codes[20] = codes[10]!
    const { run, outlook } = await opened({}, codes)
    const { answers } = await run.frames([event(1, [code('A', 999), null]), event(2, codes[10]!)])
    expect(outlook(answers)).toBeUndefined()
  })

  it('names no version that was withdrawn, and none that cannot be laid', async () => {
    const codes = codesOf(30).map(([first, second], i) => [i % 2 === 0 ? code('N', i) : first!, second!])
    const { run, outlook } = await opened({}, codes)
    await run.withdraw({ by: 'qa', why: 'test', job: 'J', design: 'B', version: 1 })
    const { answers } = await run.frames([event(1, codes[7]!)])
    expect(places(outlook(answers)?.labels).slice(0, 3)).toEqual(['3/1 A', '4/2 F', '5/1 A'])
  })

  it('is read from the stored sequence of a ticket, once for all who ask', async () => {
    const bench = await openBench()
    onTestFinished(() => bench.close())
    const file = path.join(bench.folder, 'roll.csv')
    await writeFile(file, sequenceText(codesOf(20)))
    const temporary = path.join(bench.folder, 'temporary')
    const blobs = await openFolderBlobs({ folder: path.join(bench.folder, 'blobs'), temporary })
    const { sha256 } = await putSequence({ blobs }, { path: file })
    const run = await bench.open({ ticket: { sequence: { sha256 } } })
    const [one, other] = await Promise.all([bench.runs.expected(run.state), bench.runs.expected(run.state)])
    expect(one).toBe(other)
    expect([one?.positions, one?.positionOf(code('F', 21)), one?.at(10, 2)?.design]).toEqual([20, 10, 'F'])
    expect(await bench.runs.expected((await bench.open()).state)).toBeUndefined()
  })
})
