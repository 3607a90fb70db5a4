// The code index by size: building it, its bytes, loading it, and lookups of freshly decoded codes against a JavaScript Map and against
// bare reads of random words of the same memory. And the set of serials that were laid.
import { execFile } from 'node:child_process'
import { rm, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { promisify } from 'node:util'
import { type Bench, type BenchTools, benchProgram, root } from './bench.ts'
import type { BuildFigures, LookUpFigures, SerialFigures, Side } from './code-index-program.ts'
import { codeLength, writeCodeTable } from './code-tables.ts'
import { type Curve, growthPlot } from './growth-plot.ts'
import { median } from './rounds.ts'
import { type Row, rateRow, timeRow } from './rows.ts'

const run = promisify(execFile)
const sizes = (quick: boolean): readonly number[] => (quick ? [10_000, 100_000] : [100_000, 1_000_000, 10_000_000])
const plotName = 'bench-results-code-index.svg'

/** Of a Map of ten million codes, beyond what V8 takes by itself. */
const heapMb = 6_144

async function program<T>(...args: readonly string[]): Promise<T> {
  const { stdout } = await run(process.execPath, [
    `--max-old-space-size=${heapMb}`,
    benchProgram('code-index-program'),
    ...args,
  ])
  return JSON.parse(stdout) as T
}

interface Sized {
  readonly rows: number
  readonly bare: BuildFigures
  readonly build: BuildFigures
  readonly lookUp: LookUpFigures
}

async function measure(rows: number, tools: BenchTools): Promise<Sized> {
  const folder = await tools.folder(`codes-${rows}`)
  const table = path.join(folder, 'codes.csv')
  const index = path.join(folder, 'index')
  const named = rows.toLocaleString('en-GB')
  tools.tell(`${named} codes without values`)
  await writeCodeTable(table, { rows, values: false })
  const bare = await program<BuildFigures>('build', table, index, folder)
  tools.tell(`${named} codes with values`)
  await writeCodeTable(table, { rows, values: true })
  const build = await program<BuildFigures>('build', table, index, folder)
  tools.tell(`lookups among ${named} codes`)
  const lookUp = await program<LookUpFigures>('look-up', index, String(rows), tools.quick ? '2' : '7', 'map')
  await rm(folder, { recursive: true })
  return { rows, bare, build, lookUp }
}

function rowsOf({ rows, bare, build, lookUp }: Sized): readonly Row[] {
  const codes = `${rows.toLocaleString('en-GB')} codes of ${codeLength}`
  const { stepMs, peakMb, heldMb } = build
  const steps = Object.entries(stepMs).map(([step, ms]) => `${step} until ${(ms / 1000).toFixed(1)} s`)
  const seconds = lookUp.loadMs.map((ms) => ms / 1000)
  const { ns } = lookUp
  const against = (map: Side): { what: string; figures: readonly number[] }[] => [
    { what: 'a Map of numbers', figures: ns[map] },
    { what: 'a bare read of a random word', figures: ns.probe },
  ]
  return [
    timeRow({
      what: `bytes a code, ${codes}, with design, print version and serial`,
      unit: 'B',
      figures: [build.bytes / rows],
      note: `${(bare.bytes / rows).toFixed(2)} B without values`,
    }),
    rateRow({
      what: `build, ${codes}, with values`,
      unit: 'rows/s',
      figures: [(1000 * rows) / build.ms],
      note: `${steps.join(', ')}; the process held ${heldMb.toFixed(0)} MB before and at most ${peakMb.toFixed(0)} MB`,
    }),
    timeRow({ what: `load and verify, ${codes}, from a warm disk`, unit: 's', figures: seconds }),
    timeRow({ what: `hit, ${codes}, freshly decoded`, unit: 'ns', figures: ns.indexHit, against: against('mapHit') }),
    timeRow({
      what: `miss by one letter, ${codes}, freshly decoded`,
      unit: 'ns',
      figures: ns.indexMiss,
      against: against('mapMiss'),
    }),
  ]
}

/** The set of serials, against a Map of the same. */
async function serialRows(count: number): Promise<readonly Row[]> {
  const serials = `${count.toLocaleString('en-GB')} serials of 12 digits`
  const figures = await program<SerialFigures>('serials', String(count))
  const { addNs, worstAddMs, getNs, mapAddNs, mapGetNs, held, mapHeld, snapshot, snapshotMs, restoreMs } = figures
  const against = (figure: number) => [{ what: 'a Map', figures: [figure] }]
  const note = `${snapshot.toFixed(1)} B each in a snapshot, taken in ${(snapshotMs / 1000).toFixed(1)} s, restored in ${(restoreMs / 1000).toFixed(1)} s`
  return [
    timeRow({ what: `bytes a serial, ${serials}`, unit: 'B', figures: [held], against: against(mapHeld), note }),
    timeRow({
      what: `add, ${serials}`,
      unit: 'ns',
      figures: [addNs],
      against: against(mapAddNs),
      note: `the slowest addition took ${worstAddMs.toFixed(1)} ms`,
    }),
    timeRow({ what: `get, ${serials}`, unit: 'ns', figures: [getNs], against: against(mapGetNs) }),
  ]
}

const curveNames: Readonly<Record<Side, string>> = {
  indexHit: 'index, hit',
  indexMiss: 'index, miss',
  mapHit: 'Map, hit',
  mapMiss: 'Map, miss',
  probe: 'bare random read',
}

function curvesOf(all: readonly Sized[]): Curve[] {
  return (Object.keys(curveNames) as Side[]).map((side) => ({
    name: curveNames[side],
    points: all.map(({ rows, lookUp }) => ({ size: rows, figure: median(lookUp.ns[side]) })),
  }))
}

export const benchCodeIndex: Bench = async (tools) => {
  const all: Sized[] = []
  for (const rows of sizes(tools.quick)) all.push(await measure(rows, tools))
  const plot = growthPlot({
    title: `Looking up one code of ${codeLength}`,
    unit: 'ns, by number of codes',
    curves: curvesOf(all),
  })
  await writeFile(path.join(root, plotName), plot)
  tools.tell(`${plotName} shows the growth`)
  const serials: Row[] = []
  for (const count of sizes(tools.quick).slice(1)) {
    tools.tell(`${count.toLocaleString('en-GB')} serials`)
    serials.push(...(await serialRows(count)))
  }
  return [...all.flatMap(rowsOf), ...serials]
}
