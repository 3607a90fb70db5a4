// What a later pass needs of the earlier ones: loading what became of a million labels, looking one up against a JavaScript Map, bytes a
// serial; what a run's end costs; and the report of a roll across two passes.
import { openSerialSet, type SerialSet } from '../../src/codes/index.ts'
import type { Catalogue } from '../../src/packages/index.ts'
import { acrossPasses, type PassRun } from '../../src/runs/across-passes.ts'
import { PassMemory } from '../../src/runs/earlier-pass.ts'
import type { PassOutcome } from '../../src/runs/earlier-pass-outcomes.ts'
import { collectOutcomes } from '../../src/runs/ended-serials.ts'
import type { Bench, BenchTools } from './bench.ts'
import { cellCount } from './labels.ts'
import { openHouse, openRegistry } from './long-run.ts'
import { recordFrames } from './records.bench.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, rateRow, timeRow } from './rows.ts'

const perBatch = 2_000

const outcomes = Array.from(
  { length: 40 },
  (_, i): PassOutcome => ({ did: i % 10 === 9 ? 'skipped' : 'laid', roll: 'R', design: `D${i}`, version: 1 }),
)

/** In the order of the press, twelve digits. */
const serialOf = (label: number): string => String(100_000_000_000 + label * 7)

function filled(count: number): SerialSet {
  const set = openSerialSet()
  for (let i = 0; i < count; i++) set.add(serialOf(i), i % outcomes.length)
  return set
}

async function loaded(bytes: Uint8Array): Promise<PassMemory> {
  const memory = new PassMemory()
  await memory.takeIn('R.1', async () => ({ rows: outcomes, bytes }))
  return memory
}

/** ns a look-up of strings that nobody has seen before; one in ten is of a label that was never seen. */
async function each(
  count: number,
  batches: number,
  lookUp: (serial: string) => PassOutcome | undefined,
): Promise<number> {
  let ms = 0
  let found = 0
  for (let batch = 0; batch < batches; batch++) {
    const serials = Array.from({ length: perBatch }, (_, i) => {
      const label = Math.floor(Math.random() * count)
      return i % 10 === 0 ? `${serialOf(label)}0` : serialOf(label)
    })
    ms += await timed(() => {
      for (const serial of serials) if (lookUp(serial) !== undefined) found++
    })
  }
  if (found !== 0.9 * batches * perBatch) throw new Error(`${found} of ${batches * perBatch} serials were found`)
  return (1e6 * ms) / (batches * perBatch)
}

async function lookUpRows({ quick, tell }: BenchTools): Promise<readonly Row[]> {
  const count = quick ? 50_000 : 1_000_000
  const named = `${count.toLocaleString('en-GB')} serials of 12 digits`
  tell(named)
  const bytes = Buffer.concat([...filled(count).snapshot()])
  const memory = await loaded(bytes)
  const map = new Map<string, PassOutcome>()
  for (let i = 0; i < count; i++) map.set(serialOf(i), outcomes[i % outcomes.length] as PassOutcome)
  const batches = quick ? 10 : 100
  const figures = await interleave(
    { rounds: quick ? 2 : 7, warmUp: 1 },
    {
      load: () => timed(() => loaded(bytes)),
      fill: () =>
        timed(() => {
          const into = new Map<string, PassOutcome>()
          for (let i = 0; i < count; i++) into.set(serialOf(i), outcomes[i % outcomes.length] as PassOutcome)
          if (into.size !== count) throw new Error('a serial is there twice')
        }),
      memory: () => each(count, batches, (serial) => memory.outcome(serial, undefined)),
      map: () => each(count, batches, (serial) => map.get(serial)),
    },
  )
  return [
    timeRow({
      what: `load what an earlier pass did, ${named}`,
      unit: 'ms',
      figures: figures.load,
      against: [{ what: 'filling a Map', figures: figures.fill }],
      note: `${(bytes.length / count).toFixed(2)} B a serial in the snapshot`,
    }),
    timeRow({
      what: `look up what an earlier pass did, ${named}`,
      unit: 'ns',
      figures: figures.memory,
      against: [{ what: 'a Map', figures: figures.map }],
      note: 'one in ten was never seen',
    }),
    timeRow({ what: `bytes a serial in memory, ${named}`, unit: 'B', figures: [memory.set.bytes / count] }),
  ]
}

async function endRow({ quick, longRun }: BenchTools): Promise<Row> {
  const { folder, runId, frames } = await longRun(recordFrames(quick))
  const house = await openHouse(folder)
  const registry = openRegistry(house)
  const run = await registry.runs.get(runId)
  const labels = frames * cellCount
  const figures: number[] = []
  for (let round = 0; round < (quick ? 1 : 3); round++) {
    const ms = await timed(async () => {
      const found = await collectOutcomes(house.database, run)
      if (found.labels !== labels) throw new Error(`${found.labels} of ${labels} labels`)
    })
    figures.push((1000 * labels) / ms)
  }
  await registry.close()
  await house.close()
  const what = `gather what became of a run's labels at its end, ${labels.toLocaleString('en-GB')} labels`
  return rateRow({ what, unit: 'labels/s', figures })
}

async function reportRow({ quick, tell }: BenchTools): Promise<Row> {
  const count = quick ? 20_000 : 300_000
  tell(`the report of ${count} labels in two passes`)
  const set = filled(count)
  const runs = [1, 2].map(
    (pass): PassRun => ({
      ...{ runId: `R.${pass}`, ticket: 'R', line: 'L', state: 'sealed', createdAtMs: pass, pass },
      rolls: ['R'],
      jobs: ['J'],
      counts: async () => ({ labels: count, untied: 0 }),
      outcomes: async () => ({ rows: outcomes, set }),
    }),
  )
  const catalogue: Catalogue = { revision: 1, jobs: new Map() }
  const figures: number[] = []
  for (let round = 0; round < (quick ? 1 : 3); round++) {
    figures.push(
      await timed(async () => {
        const { total } = await acrossPasses('R', { runs, catalogue })
        if (total.labels !== count) throw new Error(`${total.labels} of ${count} labels`)
      }),
    )
  }
  return timeRow({ what: `a roll across two passes, ${count.toLocaleString('en-GB')} labels`, unit: 'ms', figures })
}

export const benchPasses: Bench = async (tools) => [
  ...(await lookUpRows(tools)),
  await endRow(tools),
  await reportRow(tools),
]
