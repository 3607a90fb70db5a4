// The record of a later pass: the runs before it, and a serial that stands on two labels made again once.
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { closeBench, lay, openPass, openPassBench, sealRun } from '../../../tests/fixtures/passes.ts'
import { type Bench, code } from '../../../tests/fixtures/runs.ts'
import { openFolderBlobs } from '../../storage/index.ts'
import type { Run } from '../run.ts'
import { earlierPasses } from './earlier-passes.ts'
import { recordHtml } from './record-html.ts'
import { openRollRecord, type RollRecord } from './roll-record.ts'

let bench: Bench
beforeEach(async () => {
  bench = await openPassBench()
})
afterEach(() => closeBench(bench))

async function recordOf(run: Run): Promise<RollRecord> {
  const places = { folder: path.join(bench.folder, 'blobs'), temporary: path.join(bench.folder, 'temporary') }
  return openRollRecord({ database: bench.database, blobs: await openFolderBlobs(places) }, run)
}

async function rows<T>(all: AsyncIterable<T>): Promise<T[]> {
  const found: T[] = []
  for await (const row of all) found.push(row)
  return found
}

describe('the record of a second pass', () => {
  it('names the runs of earlier passes over the same roll, with their roots', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('A', 1), code('A', 2)])
    await sealRun(first)
    await openPass(bench, 1, { roll: 'R2' })
    const second = await openPass(bench, 2)
    const record = await recordOf(second)
    const found = await earlierPasses(record)
    const head = await bench.database.ledgerHead(first.runId)
    expect(found).toMatchObject([{ pass: 1, runId: first.runId, entries: head?.treeSize, root: head?.root }])
    expect(await recordHtml(record)).toContain('Earlier passes over this roll')
    expect(await earlierPasses(await recordOf(first))).toEqual([])
    expect(await recordHtml(await recordOf(first))).not.toContain('Earlier passes')
  })

  it('asks for a serial once, though it stands on two labels that were both left alone', async () => {
    const first = await openPass(bench, 1)
    await lay(first, [code('A', 1), code('A', 2), code('A', 1), code('A', 3)])
    const second = await openPass(bench, 2)
    expect(await lay(second, [code('A', 1), code('A', 2), code('A', 1), code('A', 3)])).toEqual([
      'skip pass-mismatch',
      'lay',
      'skip pass-mismatch',
      'lay',
    ])
    const makeGood = await (await recordOf(second)).makeGood()
    const again = (await rows(makeGood.rows())).map((row) => row.code)
    expect(again.filter((text) => text === code('A', 1))).toHaveLength(1)
    expect(await makeGood.summary()).toMatchObject({ duplicates: 1 })
  })
})
