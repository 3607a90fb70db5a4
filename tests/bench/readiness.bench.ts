// Readiness of a ticket of 300,000 labels and 500 designs, held against reading its CSV alone; and asked again while nothing changed.
import { open, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { assert } from '../../src/kernel/assert.ts'
import { systemClock } from '../../src/kernel/clock.ts'
import { putLine, putSequence, putTicket, readSequence } from '../../src/lines/index.ts'
import { openReadiness } from '../../src/runs/readiness.ts'
import { openFolderBlobs, openSqlite } from '../../src/storage/index.ts'
import { code, handCatalogue, job, line, ticket, version } from '../fixtures/runs.ts'
import { sequenceText } from '../fixtures/sequences.ts'
import type { Bench, BenchTools } from './bench.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, timeRow } from './rows.ts'

const designCount = 500
const cellsPerFrame = 2
const names = { ticket: 'T1', line: 'L1' }

/** Every design in turn, two labels a frame, each with a serial of its own. */
const codesOf = (labels: number): string[][] =>
  Array.from({ length: labels / cellsPerFrame }, (_, frame) =>
    [0, 1].map((i) => code(`D${(frame * cellsPerFrame + i) % designCount}`, frame * cellsPerFrame + i)),
  )

async function openStage({ folder }: BenchTools, labels: number) {
  const into = await folder('readiness')
  const database = await openSqlite({ folder: into })
  const blobs = await openFolderBlobs({ folder: path.join(into, 'blobs'), temporary: path.join(into, 'temporary') })
  const versions = Array.from({ length: designCount }, (_, i) => version(`D${i}`, 1))
  // The digest of a layer of these versions is that of its name.
  for (const { design } of versions) await blobs.put({ bytes: Buffer.from(`${design}/1/varnish`) })
  const catalogue = handCatalogue([job('J', versions)])
  const csv = path.join(into, 'sequence.csv')
  await writeFile(csv, sequenceText(codesOf(labels)))
  const { sha256 } = await putSequence({ blobs }, { path: csv })
  const store = { database, clock: systemClock }
  await putLine(store, line)
  await putTicket(store, ticket({ sequence: { sha256 } }))
  return { database, blobs, catalogue, csv }
}

/** The greatest resident memory while the work is done, above what it was before; and the longest wait for the event loop. */
async function watched(work: () => Promise<unknown>): Promise<{ peakMiB: number; waitMs: number }> {
  const before = process.memoryUsage.rss()
  let peak = before
  let waitMs = 0
  let done = false
  const end = work().finally(() => {
    done = true
  })
  while (!done) {
    const askedMs = performance.now()
    await pause(1)
    waitMs = Math.max(waitMs, performance.now() - askedMs)
    peak = Math.max(peak, process.memoryUsage.rss())
  }
  await end
  return { peakMiB: (peak - before) / 2 ** 20, waitMs }
}

export const benchReadiness: Bench = async (tools): Promise<readonly Row[]> => {
  const labels = tools.quick ? 20_000 : 300_000
  tools.tell(`storing a sequence of ${labels} labels`)
  const stage = await openStage(tools, labels)
  const weighed = async (desk: ReturnType<typeof openReadiness>): Promise<void> => {
    const { ready, expected } = await desk.weigh(names)
    assert(ready && expected?.labels === labels, 'every label of the sequence resolves')
    assert(expected.versions.length === designCount, 'all designs are on the roll')
  }
  const parse = async (): Promise<void> => {
    const handle = await open(stage.csv, 'r')
    const { rows } = await readSequence({ handle, file: 'sequence' }).finally(() => handle.close())
    assert(rows === labels, 'every row is read')
  }
  const watch = await watched(() => weighed(openReadiness(stage)))
  const kept = openReadiness(stage)
  await weighed(kept)
  const seconds = async (work: () => Promise<void>): Promise<number> => (await timed(work)) / 1e3
  const figures = await interleave(
    { rounds: tools.quick ? 3 : 7, warmUp: 1 },
    {
      whole: () => seconds(() => weighed(openReadiness(stage))),
      csv: () => seconds(parse),
      again: () => seconds(() => weighed(kept)),
    },
  )
  await stage.database.close()
  const size = `${labels.toLocaleString('en-GB')} labels, ${designCount} designs`
  const note = `${watch.peakMiB.toFixed(0)} MiB more memory at most; the event loop waited ${watch.waitMs.toFixed(0)} ms at most`
  const against = [{ what: 'reading the CSV alone', figures: figures.csv }]
  return [
    timeRow({ what: `readiness of ${size}`, unit: 's', figures: figures.whole, against, note }),
    timeRow({ what: `the same asked again, nothing changed`, unit: 's', figures: figures.again, against }),
  ]
}
