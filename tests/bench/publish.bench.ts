// Publishing packages of growing size through the built server: bytes a second against hashing the same files, and the most memory
// that the process ever held.
import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import sharp from 'sharp'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import type { Bench, BenchTools } from './bench.ts'
import { peakMb, startServer } from './built-server.ts'
import { drawDesigns, writePackage } from './large-package.ts'
import { interleave, median, timed } from './rounds.ts'
import { type Row, rateRow, shown } from './rows.ts'

const sizes = (quick: boolean): readonly number[] => (quick ? [10, 30, 100] : [100, 300, 1_000])

async function publish(server: { url: string }, folder: string): Promise<void> {
  const response = await fetch(`${server.url}/api/v1/packages?by=bench`, {
    method: 'POST',
    headers: { 'content-type': 'application/json', prefer: 'wait=600' },
    body: JSON.stringify({ path: folder }),
  })
  const work = (await response.json()) as { state?: string; result?: { outcome: string } }
  if (work.state !== 'done' || work.result?.outcome !== 'published') {
    throw new Error(`not published: ${JSON.stringify(work).slice(0, 1_000)}`)
  }
}

/** Reads every file and gives it to `use`; bytes read. */
async function eachFile(folder: string, use: (bytes: Buffer, name: string) => unknown): Promise<number> {
  let total = 0
  for (const name of await readdir(folder)) {
    const bytes = await readFile(path.join(folder, name))
    total += bytes.length
    await use(bytes, name)
  }
  return total
}

const decode = (bytes: Buffer, name: string): unknown =>
  name.endsWith('.png') ? sharp(bytes).toColourspace('b-w').raw().toBuffer() : undefined

async function measure(designs: number, folder: string, tools: BenchTools): Promise<Row> {
  const bytes = await eachFile(folder, () => undefined)
  const rate = (ms: number): number => bytes / 1e6 / (ms / 1000)
  const peaks: number[] = []
  const figures = await interleave(
    { rounds: tools.quick || designs > 100 ? 1 : 2 },
    {
      async publishing() {
        const server = await startServer(await tools.folder('publish'))
        try {
          const ms = await timed(() => publish(server, folder))
          const peak = await peakMb(server.pid)
          if (peak !== undefined) peaks.push(peak)
          return rate(ms)
        } finally {
          await server.stop()
        }
      },
      hashing: async () => rate(await timed(() => eachFile(folder, sha256Hex))),
      decoding: async () => rate(await timed(() => eachFile(folder, decode))),
    },
  )
  const seconds = median(figures.publishing.map((speed) => bytes / 1e6 / speed))
  const pace = `${shown(seconds)} s, ${shown(designs / seconds)} designs/s`
  const memory =
    peaks.length > 0
      ? `peak memory of the server ${peaks.map((mb) => mb.toFixed(0)).join(', ')} MB`
      : 'peak memory is told on Linux only'
  return rateRow({
    what: `publish ${designs.toLocaleString('en-GB')} designs of 2 layers, ${(bytes / 1e6).toFixed(0)} MB`,
    unit: 'MB/s',
    figures: figures.publishing,
    against: [
      { what: 'hashing the same files', figures: figures.hashing },
      { what: 'decoding the same pictures', figures: figures.decoding },
    ],
    note: `${pace}; ${memory}`,
  })
}

export const benchPublish: Bench = async (tools) => {
  const rows: Row[] = []
  tools.tell('drawing layers')
  const designs = await drawDesigns(Math.max(...sizes(tools.quick)))
  for (const size of sizes(tools.quick)) {
    const folder = path.join(await tools.folder('package'), `designs-${size}`)
    await writePackage(folder, designs.slice(0, size))
    tools.tell(`${size} designs`)
    rows.push(await measure(size, folder, tools))
  }
  return rows
}
