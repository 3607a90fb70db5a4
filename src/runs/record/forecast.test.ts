// The forecast of the roll record: what the ticket's sequence counts, as the run opened with it.
import { writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, openBench } from '../../../tests/fixtures/runs.ts'
import { sequenceText } from '../../../tests/fixtures/sequences.ts'
import { Problem } from '../../kernel/problem.ts'
import { putSequence } from '../../lines/index.ts'
import { openFolderBlobs } from '../../storage/index.ts'
import { forecastOf } from './forecast.ts'

let bench: Bench
afterEach(() => bench.close())

/** Layers of the bench are not stored: their sums are rows of what could not be read. */
const layerSums = {
  missing: async () => [],
  of: async () => {
    throw new Problem('blob-not-found', 'not stored')
  },
}

async function forecast(withSequence: boolean) {
  bench = await openBench()
  const stored = await openFolderBlobs({
    folder: path.join(bench.folder, 'blobs'),
    temporary: path.join(bench.folder, 'temporary'),
  })
  const file = path.join(bench.folder, 'roll.csv')
  const frames = [1, 2, 3].map((frame) => [code('A', frame), code(frame === 3 ? 'A' : 'B', 10 + frame)])
  await writeFile(file, sequenceText(frames))
  const { sha256 } = await putSequence({ blobs: stored }, { path: file })
  const run = await bench.open(withSequence ? { ticket: { sequence: { sha256 } } } : {})
  const blobs = { ...stored, condition: async () => 'sound' as const }
  return forecastOf({ blobs, catalogue: bench.catalogue, layerSums }, run)
}

describe('the forecast of the record', () => {
  it('goes by the sequence of the ticket: nothing is taken to be shared evenly', async () => {
    const sums = await forecast(true)
    expect(sums?.assumed).toBeUndefined()
    expect(sums).toMatchObject({ extent: { frames: 3, from: 'sequence' } })
  })

  it('says so where no sequence tells what is on the roll', async () => {
    expect((await forecast(false))?.assumed).toBe('even')
  })
})
