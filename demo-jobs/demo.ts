// The demo: a roll from package to proof through the doors that people and controllers use, and a comparison of what was planted
// with what was found.
import { chmod, cp, mkdir, readFile, rename, rm, stat, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import type { Output, RunningServer, Server, StartServer } from '../src/cli/index.ts'
import { Problem } from '../src/kernel/problem.ts'
import { openThreads, type Threads } from '../src/queue/index.ts'
import type { Answer, Cause } from '../src/runs/index.ts'
import { type Comparison, compare, comparisonText } from './compare.ts'
import { captureName } from './draw-captures.ts'
import { released } from './expected.ts'
import { demoFiles } from './folders.ts'
import { preserves, teas } from './orders.ts'
import { damage, setupFrames, withdrawal } from './plants.ts'
import { roll, type ScenarioFrame, spliceEvent } from './scenario.ts'

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

interface RunView {
  readonly runId: string
  readonly state: string
  readonly pending: number
  readonly lanes: readonly number[]
  readonly counts: {
    readonly frames: number
    readonly labels: number
    readonly lay: number
    readonly skip: number
    readonly stop: number
  }
  readonly causes: readonly {
    readonly cause: Cause
    readonly status: string
    readonly frame?: number
    readonly cell?: number
  }[]
}

const lead = 'I. Demo (lead)'
const prepress = 'P. Demo (prepress)'
const marker = '.rollcall-demo'
/** Pictures under way at most: far fewer frames than lie between the sensor and the head. */
const pendingMax = 6

async function freshFolder(folder: string): Promise<void> {
  const exists = await stat(folder).catch(() => undefined)
  if (exists) {
    const own = await stat(path.join(folder, marker)).catch(() => undefined)
    if (!own) throw new Problem('usage', `${folder} exists and holds no demo; name another --folder`, { file: folder })
    await rm(folder, { recursive: true })
  }
  await mkdir(path.join(folder, 'roll'), { recursive: true })
  await writeFile(path.join(folder, marker), 'Made by the demo; the next demo in this folder removes it.\n')
}

/** Draws the roll's captures in threads, in order; `drawn(i)` resolves when frame i lies in the folder. */
function drawRoll(threads: Threads, folder: string): { drawn: (frame: number) => Promise<string> } {
  const files = roll.map(({ frame }) => threads.run({ frame, folder }) as Promise<string>)
  for (const file of files) file.catch(() => undefined)
  return {
    drawn: async (frame) => (await files[frame]) ?? path.join(folder, captureName(roll[frame] as ScenarioFrame)),
  }
}

interface Stage {
  readonly server: Server
  readonly output: Output
  readonly dataFolder: string
}

async function until<T>(what: string, look: () => Promise<T | undefined>): Promise<T> {
  for (let tries = 0; tries < 1_200; tries++) {
    const found = await look().catch((error) => {
      if (error instanceof Problem && error.code !== 'internal') return undefined
      throw error
    })
    if (found !== undefined) return found
    await pause(50)
  }
  throw new Error(`the demo waited for ${what} for a minute`)
}

async function drop(stage: Stage, source: string, name: string): Promise<void> {
  const target = path.join(stage.dataFolder, 'intake', name)
  await cp(source, `${target}.part`, { recursive: true })
  await rename(`${target}.part`, target)
}

interface JobView {
  readonly packages: readonly { readonly package: number }[]
}

async function publishAll(stage: Stage): Promise<readonly { code: string; file?: string }[]> {
  const rows = [
    { source: demoFiles.firstPackage, job: preserves.job, number: 1 },
    { source: demoFiles.secondPackage, job: preserves.job, number: 2 },
    { source: demoFiles.unreleasedPackage, job: preserves.job, number: 3 },
    { source: demoFiles.otherJobPackage, job: teas.job, number: 1 },
  ]
  for (const { source, job, number } of rows) {
    await drop(stage, source, `${job}-${number}`)
    await until(`package ${number} of ${job}`, async () => {
      const view = await stage.server.get<JobView>(`/jobs/${job}`)
      return view.packages.some((row) => row.package === number) ? true : undefined
    })
    stage.output.line(`  published ${job} package ${number}`)
  }
  await drop(stage, demoFiles.spoiledPackage, `${preserves.job}-spoiled`)
  const refused = path.join(stage.dataFolder, 'refused')
  const findings = await until('the refusal of the spoiled package', async () => {
    const text = await readFile(path.join(refused, `${preserves.job}-spoiled-1`, 'findings.json'), 'utf8').catch(
      () => undefined,
    )
    return text === undefined ? undefined : (JSON.parse(text) as { findings: { code: string; file?: string }[] })
  })
  stage.output.line(`  refused ${preserves.job}-spoiled with ${findings.findings.length} findings, see ${refused}`)
  return findings.findings
}

async function releaseAll({ server }: Stage): Promise<void> {
  for (const { job, design, version } of released) {
    await server.send('POST', `/jobs/${job}/designs/${design}/versions/${version}/release`, {
      by: prepress,
      why: 'approved proof',
    })
  }
}

// A disk that rots: one byte of a stored layer flips.
async function damageLayer({ server, dataFolder }: Stage): Promise<void> {
  interface Version {
    readonly version: number
    readonly layers: readonly { readonly layer: string; readonly sha256: string }[]
  }
  const job = await server.get<{ designs: { design: string; versions: Version[] }[] }>(`/jobs/${damage.job}`)
  const versions = job.designs.find((row) => row.design === damage.design)?.versions ?? []
  const layers = versions.find((row) => row.version === damage.version)?.layers ?? []
  const digest = layers.find((row) => row.layer === damage.layer)?.sha256 ?? ''
  const file = path.join(dataFolder, 'blobs', 'sha256', digest.slice(0, 2), digest)
  const bytes = await readFile(file)
  const middle = bytes.length >> 1
  bytes[middle] = (bytes[middle] ?? 0) ^ 1
  await chmod(file, 0o644)
  await writeFile(file, bytes)
}

interface Readiness {
  readonly ready: boolean
  readonly blockers: readonly { code: string; job?: string; design?: string; layer?: string; message: string }[]
  readonly warnings: readonly { code: string; design?: string; message: string }[]
}

async function openRun(stage: Stage): Promise<string> {
  const { server, output } = stage
  const line = JSON.parse(await readFile(demoFiles.line, 'utf8')) as { line: string }
  const ticket = JSON.parse(await readFile(demoFiles.ticket, 'utf8')) as { ticket: string }
  await server.send('PUT', `/lines/${line.line}`, line)
  await server.send('PUT', `/tickets/${ticket.ticket}`, ticket)
  const names = { ticket: ticket.ticket, line: line.line }
  const readiness = await server.get<Readiness>(`/readiness?${new URLSearchParams(names)}`)
  for (const row of readiness.blockers)
    output.line(`  blocker ${row.code}: ${row.job}/${row.design}/${row.layer}: ${row.message}`)
  for (const row of readiness.warnings) output.line(`  warning ${row.code}: ${row.design}: ${row.message}`)
  const why = 'few labels of this design are on the roll; they will be made again'
  const { runId } = await server.send<RunView>('POST', '/runs', { ...names, by: lead, override: true, why })
  output.line(`  opened run ${runId}; the lead overrides: ${why}`)
  return runId
}

interface Rolling extends Stage {
  readonly runId: string
  readonly answers: Answer[]
  cursor: number
}

const at = (rolling: Rolling): string => `/runs/${encodeURIComponent(rolling.runId)}`

// What a controller does: takes the answers as they come and reports what it laid.
async function takeAnswers(rolling: Rolling): Promise<void> {
  const page = await rolling.server.get<{ answers: Answer[]; cursor: number }>(
    `${at(rolling)}/answers?after=${rolling.cursor}`,
  )
  rolling.cursor = page.cursor
  rolling.answers.push(...page.answers)
}

async function settled(rolling: Rolling, most: number): Promise<RunView> {
  for (;;) {
    const view = await rolling.server.get<RunView>(at(rolling))
    if (view.pending <= most) return view
    await pause(3)
  }
}

async function clearStops(rolling: Rolling, view: RunView): Promise<void> {
  for (const { cause, frame, cell } of view.causes.filter((row) => row.status === 'open')) {
    const what = [cause.flag, cause.job, cause.design, cause.print].filter(Boolean).join(' / ')
    rolling.output.progress.done()
    rolling.output.line(
      `  stop: ${what}${frame === undefined ? ' (recalled)' : ` at frame ${frame}, cell ${cell}`}; the lead looks: skip the rest`,
    )
    await rolling.server.send('POST', `${at(rolling)}/clear`, {
      by: lead,
      why: 'looked at the web',
      cause,
      after: 'skip-rest',
    })
  }
}

// What happens between frames: the end of set-up, the splice, the recall.
async function beforeFrame(rolling: Rolling, { frame }: ScenarioFrame): Promise<void> {
  const { server, output } = rolling
  if (frame === setupFrames) {
    const view = await settled(rolling, 0)
    await server.send('POST', `${at(rolling)}/prove`, {
      by: lead,
      lanes: view.lanes,
      why: 'compared one label of every lane',
    })
    output.line(`  proved after ${setupFrames} set-up frames`)
  }
  if (frame === spliceEvent.beforeFrame) {
    const { event, positionUm, frames } = spliceEvent
    await server.send('POST', `${at(rolling)}/material`, {
      event,
      positionMm: positionUm / 1000,
      frames,
      note: 'splice of the printer',
    })
    output.line(`  splice before frame ${frame}, ${frames} frames cut out`)
  }
  if (frame === withdrawal.afterFrame + 1) {
    await settled(rolling, 0)
    const { job, design, version } = withdrawal
    const target = `/jobs/${job}/designs/${design}/versions/${version}/withdraw`
    const result = await server.send<{ runs: { revoked: number }[] }>('POST', target, {
      by: prepress,
      why: 'allergen line is missing',
    })
    output.line(`  ${design} version ${version} withdrawn: ${result.runs[0]?.revoked ?? 0} answers revoked`)
  }
}

async function report(rolling: Rolling): Promise<void> {
  const laid = rolling.answers.filter((answer) => answer.decision === 'lay')
  const page = await rolling.server.get<{ answers: Answer[] }>(`${at(rolling)}/answers?limit=4096`)
  const revoked = new Set(
    page.answers.filter((answer) => answer.revokedBy !== undefined).map((answer) => answer.ledgerIndex),
  )
  const reports = laid.map(({ frame, cell, ledgerIndex }) => ({
    frame,
    cell,
    laid: revoked.has(ledgerIndex) ? 'none' : 'full',
  }))
  for (let i = 0; i < reports.length; i += 1_000)
    await rolling.server.send('POST', `${at(rolling)}/laid`, reports.slice(i, i + 1_000))
}

async function runRoll(rolling: Rolling, drawn: (frame: number) => Promise<string>): Promise<RunView> {
  const { server, output } = rolling
  await server.send('POST', `${at(rolling)}/proving`, { by: lead })
  for (const frame of roll) {
    await beforeFrame(rolling, frame)
    const bytes = await readFile(await drawn(frame.frame))
    const target = `${at(rolling)}/captures?frame=${frame.frame}&positionMm=${frame.positionUm / 1000}`
    await server.upload(target, { bytes, mediaType: 'image/jpeg' })
    const view = await settled(rolling, pendingMax)
    if (view.causes.some((row) => row.status === 'open')) await clearStops(rolling, view)
    if (frame.frame % 20 === 0) await takeAnswers(rolling)
    const { lay, skip, stop } = view.counts
    output.progress.show(
      (frame.frame + 1) / roll.length,
      `frame ${frame.frame}: ${lay} lay, ${skip} skip, ${stop} stop`,
    )
  }
  const view = await settled(rolling, 0)
  await clearStops(rolling, view)
  output.progress.done()
  await takeAnswers(rolling)
  await report(rolling)
  await server.send('POST', `${at(rolling)}/close`, { by: lead })
  return server.send<RunView>('POST', `${at(rolling)}/seal`, { by: lead })
}

async function keepRecords(
  rolling: Rolling,
  folder: string,
): Promise<{ record: string; checkpoint: string; answers: string }> {
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

async function perform(stage: Stage, options: DemoOptions, drawn: (frame: number) => Promise<string>) {
  const { output, server } = stage
  output.line('Packages, through the watched folder:')
  const refusal = await publishAll(stage)
  await releaseAll(stage)
  output.line(`  released ${released.length} versions; ${preserves.job} package 3 stays unreleased`)
  await damageLayer(stage)
  output.line('Readiness and run:')
  const runId = await openRun(stage)
  const rolling: Rolling = { ...stage, runId, answers: [], cursor: -1 }
  const view = await runRoll(rolling, drawn)
  const files = await keepRecords(rolling, options.folder)
  const { revocations } = await server.get<{ revocations: { frame: number; cell: number }[] }>(
    `${at(rolling)}/answers?limit=4096`,
  )
  return { view, files, comparison: compare({ answers: rolling.answers, revocations, refusal }) }
}

function summary(parts: {
  view: RunView
  comparison: Comparison
  files: { record: string }
  seconds: number
  url: string
  runId: string
}): string {
  const { view, comparison, files, seconds } = parts
  const { frames, labels, lay, skip, stop } = view.counts
  return [
    `Run ${view.runId} is ${view.state}: ${frames} frames, ${labels} labels: ${lay} lay, ${skip} skip, ${stop} stop.`,
    '',
    comparisonText(comparison),
    '',
    `Roll record: ${path.resolve(files.record)} (and .csv beside it)`,
    `Took ${seconds.toFixed(1)} s.`,
  ].join('\n')
}

/**
 * Runs the demo in a folder of its own. Returns 0 when everything that was planted was found and nothing else, and the record
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
    const { drawn } = drawRoll(threads, path.join(options.folder, 'roll'))
    // The spoiled package is judged when it rested for so long; nobody wants to wait the usual half minute in a demo.
    await mkdir(dataFolder)
    await writeFile(path.join(dataFolder, 'config.json'), '{ "intakeSettleMs": 2000 }\n')
    running = await parts.start({ dataFolder, port: options.port, logLevel: 'error' })
    const server = parts.connect(running.url)
    const done = await perform({ server, output, dataFolder }, options, drawn)
    const verified = await parts.verify({ url: running.url, runId: done.view.runId, ...done.files })
    const seconds = (performance.now() - startedMs) / 1000
    const { view, comparison } = done
    output.result(
      { run: view, comparison, verified: verified === 0, seconds },
      summary({ ...done, seconds, url: running.url, runId: view.runId }),
    )
    if (options.serve) {
      output.line(`Serving ${running.url}/api/v1 (page: ${running.url}/api/v1/docs/); stop with Ctrl-C.`)
      await new Promise((resolve) => process.once('SIGINT', resolve).once('SIGTERM', resolve))
    }
    return comparison.differences.length === 0 && verified === 0 ? 0 : 1
  } finally {
    await threads.close()
    await running?.close()
  }
}
