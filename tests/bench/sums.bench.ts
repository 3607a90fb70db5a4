// The varnish sums over every pixel of a package's layers: MB of layer files a second against decoding the same files and doing nothing
// with them, then through worker threads; and a ticket's sums once its layers are known.
import { readdir, readFile, stat } from 'node:fs/promises'
import path from 'node:path'
import sharp from 'sharp'
import { demoFiles } from '../../demo-jobs/folders.ts'
import { connect } from '../../src/cli/index.ts'
import { inlineThreads, type PackageTask } from '../../src/packages/index.ts'
import { openThreads, type Threads } from '../../src/queue/index.ts'
import { type Bench, type BenchTools, root } from './bench.ts'
import { startServer } from './built-server.ts'
import { drawDesigns, writePackage } from './large-package.ts'
import { interleave, median, timed } from './rounds.ts'
import { type Row, rateRow, shown, timeRow } from './rows.ts'

const designs = (quick: boolean): number => (quick ? 20 : 200)
const by = 'bench'
const pixels = 480 * 540

interface LayerFiles {
  readonly files: readonly string[]
  readonly megabytes: number
}

async function layersIn(folder: string): Promise<LayerFiles> {
  const files = (await readdir(folder)).filter((name) => name.endsWith('.png')).map((name) => path.join(folder, name))
  const sizes = await Promise.all(files.map(async (file) => (await stat(file)).size))
  return { files, megabytes: sizes.reduce((sum, bytes) => sum + bytes, 0) / 1e6 }
}

const curve = [0, 0.1, 0.3, 0.5, 0.75, 1].map((gray) => ({ gray, height: gray ** 1.1 }))
const taskFor = (stored: string): PackageTask => ({
  task: 'sum',
  stored,
  resolution: { acrossDpi: 360, alongDpi: 360 },
  ...(stored.includes('relief') ? { curve } : {}),
})

const decodeAlone = (file: string): Promise<unknown> => sharp(file).toColourspace('b-w').raw().toBuffer()

async function oneThread({ files, megabytes }: LayerFiles, rounds: number): Promise<Row> {
  // As in the worker threads, where the decoder keeps nothing and works on one core.
  sharp.cache(false)
  sharp.concurrency(1)
  const rate = async (work: (file: string) => Promise<unknown>): Promise<number> => {
    const ms = await timed(async () => {
      for (const file of files) await work(file)
    })
    return megabytes / (ms / 1000)
  }
  const figures = await interleave(
    { rounds, warmUp: 1 },
    { summing: () => rate((file) => inlineThreads.run(taskFor(file))), decoding: () => rate(decodeAlone) },
  )
  const pixelRate = (median(figures.summing) / megabytes) * files.length * pixels
  return rateRow({
    what: `sums over every pixel of ${files.length} layers, ${megabytes.toFixed(1)} MB, one thread`,
    unit: 'MB/s',
    figures: figures.summing,
    against: [{ what: 'decoding the same files', figures: figures.decoding }],
    note: `${shown(pixelRate / 1e6)} million pixels/s; half of the layers 8-bit relief through a curve, half 1-bit masks`,
  })
}

async function throughThreads({ files, megabytes }: LayerFiles, rounds: number): Promise<Row> {
  const script = new URL(`file://${path.join(root, 'dist', 'workers', 'check-package.js')}`)
  const pools = { one: openThreads({ script, count: 1 }), two: openThreads({ script, count: 2 }) }
  const rate = async (threads: Threads): Promise<number> =>
    megabytes / ((await timed(() => Promise.all(files.map((file) => threads.run(taskFor(file)))))) / 1000)
  await Promise.all([pools.one.warm(), pools.two.warm()])
  const figures = await interleave({ rounds, warmUp: 1 }, { one: () => rate(pools.one), two: () => rate(pools.two) })
  await Promise.all([pools.one.close(), pools.two.close()])
  return rateRow({
    what: 'the same in two worker threads',
    unit: 'MB/s',
    figures: figures.two,
    against: [{ what: 'one worker thread', figures: figures.one }],
  })
}

/** A published ticket on the demo's line, asked over HTTP; the layers are read with the first question. */
async function wholeTicket(folder: string, tools: BenchTools): Promise<Row> {
  const program = await startServer(await tools.folder('data'))
  try {
    const server = connect(program.url)
    const ask = async (target: string, body: object): Promise<unknown> => {
      const response = await fetch(`${program.url}/api/v1${target}`, {
        method: 'POST',
        headers: { 'content-type': 'application/json', prefer: 'wait=600' },
        body: JSON.stringify(body),
      })
      if (!response.ok) throw new Error(await response.text())
      return response.json()
    }
    await ask(`/packages?by=${by}`, { path: folder })
    await server.send('POST', '/packages/LARGE/1/release', { by, why: 'for the bench' })
    const line = JSON.parse(await readFile(demoFiles.line, 'utf8')) as { line: string }
    const ticket = {
      ...JSON.parse(await readFile(demoFiles.ticket, 'utf8')),
      ticket: 'LARGE',
      jobs: [{ job: 'LARGE' }],
    }
    await server.send('PUT', `/lines/${line.line}`, line)
    await server.send('PUT', '/tickets/LARGE', ticket)
    const question = () => ask(`/lines/${line.line}/sums`, { ticket: 'LARGE' })
    const firstMs = await timed(question)
    const figures: number[] = []
    for (let round = 0; round < (tools.quick ? 2 : 5); round++) figures.push(await timed(question))
    return timeRow({
      what: `sums of a ticket of ${designs(tools.quick)} designs whose layers are known, over HTTP`,
      unit: 'ms',
      figures,
      note: `the first time, with every layer read in threads: ${shown(firstMs / 1000)} s`,
    })
  } finally {
    await program.stop()
  }
}

export const benchSums: Bench = async (tools) => {
  tools.tell('drawing layers')
  const folder = path.join(await tools.folder('package'), 'layers')
  await writePackage(folder, await drawDesigns(designs(tools.quick)))
  const layers = await layersIn(folder)
  const rounds = tools.quick ? 2 : 3
  tools.tell(`${layers.files.length} layers`)
  const rows = [await oneThread(layers, rounds), await throughThreads(layers, rounds)]
  tools.tell('a ticket')
  return [...rows, await wholeTicket(folder, tools)]
}
