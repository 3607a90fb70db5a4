// The built server as users start it: a process of its own over a data folder of its own.
import { type ChildProcess, spawn } from 'node:child_process'
import { once } from 'node:events'
import { readFile } from 'node:fs/promises'
import path from 'node:path'
import { createInterface } from 'node:readline'
import { setTimeout as pause } from 'node:timers/promises'
import { demoFiles } from '../../demo-jobs/folders.ts'
import { preserves } from '../../demo-jobs/quillgarth-preserves/orders.ts'
import { connect, type Server } from '../../src/cli/index.ts'
import { root } from './bench.ts'
import { frameEvent, lanes } from './labels.ts'

export interface Program {
  readonly url: string
  readonly pid: number
  stop(): Promise<void>
}

const addressPattern = /http:\/\/127\.0\.0\.1:\d+/
const stopMsMax = 10_000

/** Starts a program that prints the address it listens on. */
export async function startProgram(args: readonly string[]): Promise<Program> {
  const child = spawn(process.execPath, [...args], { stdio: ['ignore', 'pipe', 'inherit'] })
  const ended = once(child, 'exit')
  const { stdout, pid } = child
  if (!stdout || pid === undefined) throw new Error(`${args.join(' ')} did not start`)
  const url = await Promise.race([
    addressIn(stdout),
    ended.then(() => {
      throw new Error(`${args.join(' ')} ended before it listened`)
    }),
  ])
  return { url, pid, stop: () => stopped(child, ended) }
}

async function addressIn(stdout: NodeJS.ReadableStream): Promise<string> {
  for await (const line of createInterface({ input: stdout })) {
    const [url] = addressPattern.exec(line) ?? []
    if (url !== undefined) {
      stdout.resume()
      return url
    }
  }
  throw new Error('the program named no address')
}

async function stopped(child: ChildProcess, ended: Promise<unknown>): Promise<void> {
  child.kill('SIGTERM')
  const late = new AbortController()
  const killed = pause(stopMsMax, undefined, { signal: late.signal }).then(
    () => child.kill('SIGKILL'),
    () => undefined,
  )
  await ended
  late.abort()
  await killed
}

/** `rollcall serve`, built; further arguments go to Node. */
export const startServer = (dataFolder: string): Promise<Program> =>
  startProgram([
    ...profiling,
    path.join(root, 'dist', 'src', 'main.js'),
    '--data',
    dataFolder,
    'serve',
    '--port',
    '0',
    '--log-level',
    'warn',
  ])

/** `ROLLCALL_BENCH_PROFILE=folder` leaves a CPU profile of every server there. */
const profileFolder = process.env.ROLLCALL_BENCH_PROFILE
const profiling = profileFolder ? ['--cpu-prof', `--cpu-prof-dir=${profileFolder}`] : []

const by = 'bench'

/** Publishes and releases the demo's first package and stores its line and ticket. */
export async function publishDemo(server: Server): Promise<{ line: string; ticket: string }> {
  const body = JSON.stringify({ path: demoFiles.firstPackage })
  const response = await fetch(`${server.url}/api/v1/packages?by=${by}`, {
    method: 'POST',
    headers: { 'content-type': 'application/json', prefer: 'wait=60' },
    body,
  })
  if (response.status !== 200) throw new Error(`not published: ${await response.text()}`)
  await server.send('POST', `/packages/${preserves.job}/1/release`, { by, why: 'for the bench' })
  const line = JSON.parse(await readFile(demoFiles.line, 'utf8')) as { line: string }
  const ticket = JSON.parse(await readFile(demoFiles.ticket, 'utf8')) as { ticket: string }
  await server.send('PUT', `/lines/${line.line}`, line)
  await server.send('PUT', `/tickets/${ticket.ticket}`, ticket)
  return { line: line.line, ticket: ticket.ticket }
}

/** Opens runs and proves them with frame 0; the next frame of each is 1. */
export async function openRuns(server: Server, count: number): Promise<readonly string[]> {
  const { line, ticket } = await publishDemo(server)
  const runIds: string[] = []
  for (let i = 0; i < count; i++) {
    const { runId } = await server.send<{ runId: string }>('POST', '/runs', { ticket, line, by })
    await server.send('POST', `/runs/${runId}/proving`, { by })
    await server.send('POST', `/runs/${runId}/frames`, frameEvent(0))
    await server.send('POST', `/runs/${runId}/prove`, { by, lanes })
    runIds.push(runId)
  }
  return runIds
}

export { connect }

/** Most memory that a process held since it began, MB; undefined where the system doesn't tell. */
export async function peakMb(pid: number): Promise<number | undefined> {
  const text = await readFile(`/proc/${pid}/status`, 'utf8').catch(() => '')
  const [, kilobytes] = /^VmHWM:\s+(\d+) kB/m.exec(text) ?? []
  return kilobytes === undefined ? undefined : (Number(kilobytes) * 1024) / 1e6
}
