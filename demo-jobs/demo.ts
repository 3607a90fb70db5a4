// The demo: rolls from package to proof through the doors that people and controllers use, one after the other in one server, and a
// comparison of what was planted with what was found.
import { mkdir, rm, stat, writeFile } from 'node:fs/promises'
import path from 'node:path'
import type { Output, RunningServer, Server, StartServer } from '../src/cli/index.ts'
import { Problem } from '../src/kernel/problem.ts'
import { openThreads, type Threads } from '../src/queue/index.ts'
import { type Comparison, compare, comparisonText } from './compare.ts'
import { damageLayer, publishAll } from './demo-packages.ts'
import { compareAgain, keepPaper, runSecondPass } from './demo-passes.ts'
import { at, openRun, type Rolling, type RunView, runRoll } from './demo-run.ts'
import type { Stage } from './demo-stage.ts'
import { captureName } from './draw-captures.ts'
import { frameAt, type Scenario } from './scenario.ts'
import { demoScenarios, honeysScenario } from './scenarios.ts'

export interface DemoParts {
  readonly start: StartServer
  readonly connect: (url: string) => Server
  readonly drawScript: URL
  readonly threads: number
  readonly output: Output
  /** `rollcall verify` with a kept checkpoint and the answers as received; its exit code. */
  readonly verify: (at: { url: string; runId: string; checkpoint: string; answers: string }) => Promise<number>
}

export interface DemoOptions {
  readonly folder: string
  readonly serve: boolean
  readonly port: number
}

const marker = '.rollcall-demo'

async function freshFolder(folder: string): Promise<void> {
  const exists = await stat(folder).catch(() => undefined)
  if (exists) {
    const own = await stat(path.join(folder, marker)).catch(() => undefined)
    if (!own) throw new Problem('usage', `${folder} exists and holds no demo; name another --folder`, { file: folder })
    await rm(folder, { recursive: true })
  }
  await mkdir(folder, { recursive: true })
  await writeFile(path.join(folder, marker), 'Made by the demo; the next demo in this folder removes it.\n')
}

type Drawn = (frame: number) => Promise<string>

/** Draws a roll's captures in threads, in order; the function returned resolves when a frame lies in the folder. */
async function drawRoll(threads: Threads, scenario: Scenario, folder: string): Promise<Drawn> {
  const { name, roll } = scenario
  await mkdir(folder, { recursive: true })
  const files = roll.map(({ frame }) => threads.run({ scenario: name, frame, folder }) as Promise<string>)
  for (const file of files) file.catch(() => undefined)
  return async (frame) => (await files[frame]) ?? path.join(folder, captureName(frameAt(scenario, frame)))
}

interface Records {
  readonly record: string
  readonly checkpoint: string
  readonly answers: string
}

async function keepRecords(rolling: Rolling, folder: string): Promise<Records> {
  const files = {
    record: path.join(folder, 'roll-record.html'),
    checkpoint: path.join(folder, 'checkpoint.txt'),
    answers: path.join(folder, 'answers.ndjson'),
  }
  await writeFile(files.record, await rolling.server.text(`${at(rolling)}/report?format=html`))
  await writeFile(path.join(folder, 'roll-record.csv'), await rolling.server.text(`${at(rolling)}/report?format=csv`))
  await writeFile(files.checkpoint, await rolling.server.text(`${at(rolling)}/checkpoint`))
  await writeFile(files.answers, rolling.answers.map((answer) => `${JSON.stringify(answer)}\n`).join(''))
  return files
}

/** One scenario, run to its end. */
interface Performed {
  readonly job: string
  readonly run: RunView
  readonly comparison: Comparison
  readonly verified: boolean
  readonly record: string
}

async function perform(
  stage: Stage,
  act: { scenario: Scenario; folder: string; drawn: Drawn; verify: DemoParts['verify']; url: string },
): Promise<Performed> {
  const { scenario, folder, url } = act
  stage.output.line(`${scenario.job.title} (${scenario.job.job})`)
  const refusal = await publishAll(stage, scenario)
  if (scenario.damage) await damageLayer(stage, scenario.damage)
  const rolling = await openRun(stage, scenario)
  const run = await runRoll(rolling, act.drawn)
  const { record, ...kept } = await keepRecords(rolling, folder)
  const { revocations } = await stage.server.get<{ revocations: { frame: number; cell: number }[] }>(
    `${at(rolling)}/answers?limit=4096`,
  )
  const comparison = compare(scenario, { answers: rolling.answers, revocations, refusal })
  const verified = (await act.verify({ url, runId: run.runId, ...kept })) === 0
  return { job: scenario.job.job, run, comparison, verified, record }
}

/** The second pass over the honeys. */
async function performAgain(
  stage: Stage,
  act: { folder: string; verify: DemoParts['verify']; url: string },
): Promise<Performed> {
  stage.output.line(`${honeysScenario.job.title}: the second pass`)
  const { rolling, run } = await runSecondPass(stage)
  const folder = path.join(act.folder, 'second-pass')
  await mkdir(folder, { recursive: true })
  const { checkpoint, answers } = await keepRecords(rolling, folder)
  const record = await keepPaper(stage, rolling, folder)
  const verified = (await act.verify({ url: act.url, runId: run.runId, checkpoint, answers })) === 0
  return { job: honeysScenario.job.job, run, comparison: compareAgain(rolling.answers), verified, record }
}

function summary(performed: readonly Performed[], seconds: number): string {
  const runs = performed.map(({ run, record }) => {
    const { frames, labels, lay, skip, stop } = run.counts
    return [
      `Run ${run.runId} is ${run.state}: ${frames} frames, ${labels} labels: ${lay} lay, ${skip} skip, ${stop} stop.`,
      `  roll record: ${path.resolve(record)} (others beside it)`,
    ]
  })
  return [...runs.flat(), '', comparisonText(performed), '', `Took ${seconds.toFixed(1)} s.`].join('\n')
}

async function performAll(
  parts: DemoParts,
  running: RunningServer,
  at: { dataFolder: string; rolls: readonly { scenario: Scenario; folder: string; drawn: Drawn }[] },
): Promise<readonly Performed[]> {
  const { url } = running
  const stage = { server: parts.connect(url), output: parts.output, dataFolder: at.dataFolder }
  const performed: Performed[] = []
  for (const roll of at.rolls) {
    performed.push(await perform(stage, { ...roll, verify: parts.verify, url }))
    if (roll.scenario.name === honeysScenario.name)
      performed.push(await performAgain(stage, { folder: roll.folder, verify: parts.verify, url }))
  }
  return performed
}

/**
 * Runs the demo in a folder of its own. Returns 0 when everything that was planted was found and nothing else, and every record
 * verifies; 1 otherwise.
 */
export async function runDemo(parts: DemoParts, options: DemoOptions): Promise<number> {
  const startedMs = performance.now()
  const { output } = parts
  await freshFolder(options.folder)
  const dataFolder = path.join(options.folder, 'data')
  const threads = openThreads({ script: parts.drawScript, count: parts.threads })
  let running: RunningServer | undefined
  try {
    const rolls: { scenario: Scenario; folder: string; drawn: Drawn }[] = []
    for (const scenario of demoScenarios) {
      const folder = path.join(options.folder, scenario.name)
      rolls.push({ scenario, folder, drawn: await drawRoll(threads, scenario, path.join(folder, 'roll')) })
    }
    // The spoiled package is judged when it rested for so long; nobody wants to wait the usual half minute in a demo.
    await mkdir(dataFolder)
    await writeFile(path.join(dataFolder, 'config.json'), '{ "intakeSettleMs": 2000 }\n')
    running = await parts.start({ dataFolder, port: options.port, logLevel: 'error' })
    const performed = await performAll(parts, running, { dataFolder, rolls })
    const seconds = (performance.now() - startedMs) / 1000
    output.result({ jobs: performed, seconds }, summary(performed, seconds))
    if (options.serve) {
      output.line(`Serving ${running.url}/api/v1 (page: ${running.url}/api/v1/docs/); stop with Ctrl-C.`)
      await new Promise((resolve) => process.once('SIGINT', resolve).once('SIGTERM', resolve))
    }
    return performed.every(({ comparison, verified }) => comparison.differences.length === 0 && verified) ? 0 : 1
  } finally {
    await threads.close()
    await running?.close()
  }
}
