// Opening a run again from its ledger, as after a restart: entries a second at three sizes, against reading and parsing the same rows.
import type { Database } from '../../src/storage/index.ts'
import type { Bench } from './bench.ts'
import { cellCount } from './labels.ts'
import { type LongRun, openHouse, openRegistry } from './long-run.ts'
import { recordFrames } from './records.bench.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, rateRow } from './rows.ts'

const pageEntries = 2_000

async function parseAll(database: Database, runId: string): Promise<number> {
  let from = 0
  for (;;) {
    const rows = await database.readLedger({ runId, from, count: pageEntries })
    for (const { bytes } of rows) JSON.parse(Buffer.from(bytes).toString())
    from += rows.length
    if (rows.length < pageEntries) return from
  }
}

async function measure({ folder, runId, frames }: LongRun, rounds: number): Promise<Row> {
  const house = await openHouse(folder)
  let entries = 0
  const figures = await interleave(
    { rounds, warmUp: rounds > 1 ? 1 : 0 },
    {
      async replay() {
        const registry = openRegistry(house)
        const ms = await timed(async () => {
          const run = await registry.runs.get(runId)
          if (run.state.counts.frames !== frames) throw new Error(`${run.state.counts.frames} of ${frames} frames`)
          entries = run.state.nextIndex
        })
        await registry.close()
        return (1000 * entries) / ms
      },
      async parsing() {
        let count = 0
        const ms = await timed(async () => {
          count = await parseAll(house.database, runId)
        })
        return (1000 * count) / ms
      },
    },
  )
  await house.close()
  return rateRow({
    what: `open a run again, ${(frames * cellCount).toLocaleString('en-GB')} labels, ${entries.toLocaleString('en-GB')} entries`,
    unit: 'entries/s',
    figures: figures.replay,
    against: [{ what: 'reading and parsing the rows', figures: figures.parsing }],
  })
}

export const benchReplay: Bench = async ({ quick, tell, longRun }) => {
  const rows: Row[] = []
  for (const frames of [quick ? 100 : 1_000, quick ? 500 : 5_000, recordFrames(quick)]) {
    const run = await longRun(frames)
    tell(`${frames} frames`)
    rows.push(await measure(run, quick ? 1 : 3))
  }
  return rows
}
