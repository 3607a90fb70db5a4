// An hour of line at 320 labels a second, flat out against the built server: every answer right and none lost, and memory flat.
import { cp, readFile, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { expect, it } from 'vitest'
import { demoFiles } from '../../demo-jobs/folders.ts'
import { connect } from '../../src/cli/index.ts'
import { flatOut, scenarioSchema, simulate } from '../../src/cli/simulate/index.ts'
import { collectGarbage } from '../fixtures/collect-garbage.ts'
import { demand } from '../fixtures/live-run.ts'
import { type LiveServer, startServer, temporaryFolder } from '../fixtures/server.ts'
import { lineName, silent, ticketName } from '../fixtures/simulator.ts'

const labelsPerSecond = 320
const minutes = 60
const lanes = 4
const frames = (labelsPerSecond / lanes) * 60 * minutes
const pitchMm = 60
const mPerMin = (labelsPerSecond / lanes) * pitchMm * 0.06

const scenario = scenarioSchema.parse({
  schema: 'rollcall.scenario/1',
  title: 'An hour of line',
  seed: 27,
  roll: { frames },
  line: {
    speeds: [
      { from: 0, mPerMin: 30 },
      { from: 60, mPerMin },
    ],
    accelerationMPerS2: 2,
    decelerationMPerS2: 2,
  },
  truth: { from: 'jobs', blockFrames: 400 },
  troubles: [
    { kind: 'no-read', from: 100, to: frames, share: 0.001 },
    ...[0.2, 0.4, 0.6, 0.8].map((share) => ({ kind: 'back-up', at: Math.round(frames * share), mm: 3_000 })),
  ],
})

/** The demo's first package with serials of eight digits: an hour has more than a million labels. */
async function publish(server: LiveServer, folder: string): Promise<void> {
  await cp(demoFiles.firstPackage, folder, { recursive: true })
  const manifest = JSON.parse(await readFile(path.join(folder, 'job.json'), 'utf8'))
  manifest.code.template = manifest.code.template.replace(':6d', ':8d')
  await writeFile(path.join(folder, 'job.json'), JSON.stringify(manifest))
  const headers = { prefer: 'wait=60' }
  await demand(server.ask('POST', '/packages?by=tester', { body: { path: folder }, headers }))
  await demand(server.ask('POST', `/packages/${manifest.job}/1/release`, { body: { by: 'tester', why: 'test' } }))
}

async function openRun(server: LiveServer): Promise<string> {
  for (const [kind, name, file] of [
    ['lines', lineName, demoFiles.line],
    ['tickets', ticketName, demoFiles.ticket],
  ])
    await demand(server.ask('PUT', `/${kind}/${name}`, { body: JSON.parse(await readFile(`${file}`, 'utf8')) }))
  const body = { ticket: ticketName, line: lineName, by: 'lead' }
  return (await demand(server.ask('POST', '/runs', { body }))).json.runId
}

const residentMb = async (pid: number): Promise<number> => {
  const [, kb] = /VmRSS:\s+(\d+) kB/.exec(await readFile(`/proc/${pid}/status`, 'utf8')) ?? []
  return Number(kb) / 1_024
}

interface Sample {
  readonly heapMb: number
  readonly serverMb: number
}

/** Samples every so often while `work` goes on. */
async function sampled<T>(pid: number, work: Promise<T>): Promise<{ result: T; samples: readonly Sample[] }> {
  const samples: Sample[] = []
  const timer = setInterval(async () => {
    collectGarbage()
    const heapMb = process.memoryUsage().heapUsed / 2 ** 20
    samples.push({ heapMb, serverMb: await residentMb(pid).catch(() => Number.NaN) })
  }, 2_000)
  try {
    return { result: await work, samples }
  } finally {
    clearInterval(timer)
  }
}

const median = (values: readonly number[]): number => values.toSorted((a, b) => a - b)[values.length >> 1] ?? Number.NaN

it(`runs ${frames} frames of ${lanes} labels`, async () => {
  const folder = await temporaryFolder('hour')
  const server = await startServer({ dataFolder: path.join(folder, 'data') })
  try {
    await publish(server, path.join(folder, 'package'))
    const runId = await openRun(server)
    const order = { server: connect(server.url), scenario, folder, runId, seed: scenario.seed, pace: () => flatOut }
    const people = { by: 'lead', provedBy: 'lead', onStop: 'skip-rest' as const }
    const { result, samples } = await sampled(
      server.pid,
      simulate({
        ...order,
        ...people,
        windowFrames: 50,
        output: silent,
        screen: undefined,
        signal: new AbortController().signal,
      }),
    )
    const quarter = samples.length >> 2
    const [first, last] = [samples.slice(quarter, 2 * quarter), samples.slice(-quarter)]
    const grownMb = median(last.map(({ heapMb }) => heapMb)) - median(first.map(({ heapMb }) => heapMb))
    const { labels, seconds, latencyMs } = result
    const [from, to] = [first[0]?.serverMb.toFixed(0), last.at(-1)?.serverMb.toFixed(0)]
    console.log(
      `${labels.all} labels in ${seconds.toFixed(0)} s, ${(labels.all / seconds).toFixed(0)} labels/s, latency p50 ${latencyMs?.p50} p99 ${latencyMs?.p99} ms;`,
      `heap of the simulator grew by ${grownMb.toFixed(1)} MB, server from ${from} to ${to} MB resident`,
    )
    expect(result).toMatchObject({
      exitCode: 0,
      wrongLays: 0,
      doubleLays: 0,
      lostAnswers: 0,
      doubledAnswers: 0,
      missedLays: 0,
      labels: { all: frames * lanes },
    })
    expect(labels.planted).toBeGreaterThan(frames * lanes * 0.0005)
    expect(grownMb).toBeLessThan(16)
  } finally {
    await server.stop()
  }
})
