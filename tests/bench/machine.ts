// What the figures were taken on.
import { open, readFile, statfs } from 'node:fs/promises'
import os from 'node:os'
import path from 'node:path'
import { root } from './bench.ts'
import { quantile, timed } from './rounds.ts'
import { shown } from './rows.ts'

export interface Machine {
  readonly at: string
  readonly cpu: string
  readonly cores: number
  readonly memoryGb: number
  readonly system: string
  readonly load: readonly number[]
  readonly node: string
  /** Writing 4 KiB and syncing it, in the folder of the benches, ms. */
  readonly syncMs: { readonly p50: number; readonly p99: number }
  readonly inMemoryDisk: boolean
  readonly libraries: Readonly<Record<string, string>>
}

const libraries = ['better-sqlite3', 'express', 'kysely', 'piscina', 'sharp', 'ws', 'zod', 'zxing-wasm'] as const
const tmpfsType = 0x01021994

async function versionOf(library: string): Promise<string> {
  const text = await readFile(path.join(root, 'node_modules', library, 'package.json'), 'utf8')
  return (JSON.parse(text) as { version: string }).version
}

async function syncTimes(folder: string): Promise<Machine['syncMs']> {
  const handle = await open(path.join(folder, 'sync-probe'), 'w')
  const block = Buffer.alloc(4096, 1)
  const times: number[] = []
  try {
    for (let i = 0; i < 200; i++) {
      await handle.write(block, 0, block.length, i * block.length)
      times.push(await timed(() => handle.datasync()))
    }
  } finally {
    await handle.close()
  }
  times.sort((a, b) => a - b)
  return { p50: quantile(times, 0.5), p99: quantile(times, 0.99) }
}

export async function describeMachine(folder: string): Promise<Machine> {
  const versions = await Promise.all(libraries.map(async (name) => [name, await versionOf(name)] as const))
  return {
    at: new Date().toISOString(),
    cpu: os.cpus()[0]?.model ?? 'unknown',
    cores: os.availableParallelism(),
    memoryGb: os.totalmem() / 2 ** 30,
    system: `${os.type()} ${os.release()} ${os.arch()}`,
    load: os.loadavg(),
    node: process.version,
    syncMs: await syncTimes(folder),
    inMemoryDisk: (await statfs(folder)).type === tmpfsType,
    libraries: Object.fromEntries(versions),
  }
}

/** Some lines above the table. */
export function machineText(machine: Machine): string {
  const { cpu, cores, memoryGb, system, load, node, syncMs } = machine
  const names = Object.entries(machine.libraries).map(([name, version]) => `${name} ${version}`)
  const disk = machine.inMemoryDisk
    ? 'The folder is in memory, so syncs cost nothing here; set TMPDIR to a folder on a disk.'
    : `A sync of 4 KiB takes ${shown(syncMs.p50)} ms (p50), ${shown(syncMs.p99)} ms (p99).`
  return [
    `${machine.at}: ${cpu}, ${cores} cores, ${shown(memoryGb)} GiB, ${system}, load ${load.map(shown).join(' ')} at the start.`,
    `Node ${node}; ${names.join(', ')}.`,
    disk,
  ].join('\n')
}
