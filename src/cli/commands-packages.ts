// Commands of prepress: check, publish, release, withdraw, and what is published.
import { createReadStream } from 'node:fs'
import { stat } from 'node:fs/promises'
import path from 'node:path'
import { Readable } from 'node:stream'
import { setTimeout as pause } from 'node:timers/promises'
import { type Finding, Problem, type ProblemCode } from '../kernel/problem.ts'
import type { WorkItem } from '../queue/port.ts'
import { type AddCommand, wholeOf } from './command.ts'
import { type Output, table } from './output.ts'
import { type RecalledLabels, recalledText } from './recall-text.ts'
import type { Server } from './server.ts'

/** Follows queued work to its end, showing progress; its result, or the problem it ended with. */
export async function followWork<T>(server: Server, id: string, output: Output): Promise<T> {
  for (;;) {
    const work = await server.get<WorkItem>(`/work/${encodeURIComponent(id)}`)
    output.progress.show(work.progress, work.progressNote)
    if (work.state === 'done') {
      output.progress.done()
      return work.result as T
    }
    if (work.state === 'dead' || work.state === 'cancelled') {
      output.progress.done()
      const error = (work.error ?? {}) as { code?: ProblemCode; detail?: string; findings?: Finding[] }
      throw new Problem(error.code ?? 'internal', error.detail ?? `the work ${id} was ${work.state}`, {
        findings: error.findings ?? [],
      })
    }
    await pause(100)
  }
}

async function submit(server: Server, source: string, route: string): Promise<WorkItem> {
  const found = await stat(source).catch(() => undefined)
  if (!found) throw new Problem('not-found', `there is no folder or ZIP at ${source}`, { file: source })
  const full = path.resolve(source)
  if (found.isFile() && !/\.zip$/i.test(source))
    throw new Problem('usage', `${source} is neither a folder nor a .zip; name the folder that job.json is in`)
  if (found.isDirectory()) return server.send('POST', route, { path: full })
  const bytes = Readable.toWeb(createReadStream(full)) as ReadableStream
  return server.upload(route, { bytes, mediaType: 'application/zip' })
}

interface CheckReport {
  readonly job?: string
  readonly package?: number
  readonly title?: string
  readonly bytes: number
  readonly files: number
  readonly unchanged: boolean
  readonly findings: readonly Finding[]
  readonly findingsMore: number
  readonly facts: readonly {
    readonly design: string
    readonly version: number
    readonly layers: readonly LayerFacts[]
  }[]
}

interface LayerFacts {
  readonly layer: string
  readonly coveragePercent: number
  readonly varnishMl?: number
  readonly heightUmMax?: number
  readonly lineUmMin?: number
  readonly gapUmMin?: number
}

interface Published {
  readonly outcome: 'published' | 'unchanged'
  readonly job: string
  readonly package: number
  readonly mended: number
  readonly newVersions: readonly unknown[]
}

const shown = (value: number | undefined, digits: number): string => (value === undefined ? '–' : value.toFixed(digits))

function factsTable(facts: CheckReport['facts']): string {
  const rows = facts.flatMap(({ design, version, layers }) =>
    layers.map((row) => [
      `${design} v${version}`,
      row.layer,
      shown(row.coveragePercent, 1),
      shown(row.varnishMl, 5),
      shown(row.heightUmMax, 0),
      shown(row.lineUmMin, 0),
      shown(row.gapUmMin, 0),
    ]),
  )
  return table(['design', 'layer', 'coverage %', 'varnish mL', 'height µm', 'line µm', 'gap µm'], rows)
}

function showCheck(report: CheckReport, output: Output): number {
  if (report.findings.length > 0) {
    const name = report.job ? `package ${report.package} of ${report.job}` : 'the package'
    const count = report.findings.length + report.findingsMore
    throw new Problem('package-refused', `${name} has ${count} finding${count === 1 ? '' : 's'}`, {
      findings: report.findings,
    })
  }
  const known = report.unchanged ? ' It is published already.' : ''
  const size = report.bytes < 1e5 ? `${(report.bytes / 1e3).toFixed(1)} kB` : `${(report.bytes / 1e6).toFixed(1)} MB`
  const head = `${report.job} package ${report.package} "${report.title}": no findings in ${report.files} files, ${size}.${known}`
  output.result(report, report.facts.length > 0 ? `${head}\n\n${factsTable(report.facts)}` : head)
  return 0
}

const counted = (count: number, word: string): string => `${count} ${word}${count === 1 ? '' : 's'}`

function publishedText(result: Published, released: boolean): string {
  const name = `${result.job} package ${result.package}`
  const fresh = counted(result.newVersions.length, 'new version')
  const mended = result.mended > 0 ? `${result.mended} lost or damaged files mended` : 'nothing changed'
  const done = result.outcome === 'unchanged' ? `is published already; ${mended}` : `published, ${fresh}`
  if (released) return `${name} ${done}, released`
  if (result.outcome === 'unchanged') return `${name} ${done}`
  return `${name} ${done}, not released yet: rollcall release ${result.job} --package ${result.package} --by … --why …`
}

function checkAndPublish(add: AddCommand): void {
  add(
    'check',
    'Check a job package (folder or ZIP) and list everything that is wrong with it; nothing is stored',
    (command) => command.argument('<package>', 'folder or ZIP'),
    ({ withServer, output }, _options, [source = '']) =>
      withServer(async (server) => {
        const work = await submit(server, source, '/packages/check')
        return showCheck(await followWork<CheckReport>(server, work.id, output), output)
      }),
  )
  add<PublishOptions>(
    'publish',
    'Check and publish a job package (folder or ZIP) in one atomic step',
    (command) =>
      command
        .argument('<package>', 'folder or ZIP')
        .requiredOption('--by <name>', 'who publishes')
        .option('--release', 'release its versions at once')
        .option('--why <reason>', 'reason, with --release')
        .option('--second <name>', 'a second person, with --release, where policy asks for one'),
    ({ withServer, output }, options, [source = '']) =>
      withServer(async (server) => {
        const query = options.by === undefined ? '' : `?by=${encodeURIComponent(options.by)}`
        const work = await submit(server, source, `/packages${query}`)
        const result = await followWork<Published>(server, work.id, output)
        if (options.release) await releaseFresh(server, result, options)
        output.result(result, publishedText(result, options.release === true))
        return 0
      }),
  )
}

interface PublishOptions {
  /** Absent with a personal key. */
  readonly by?: string
  readonly release?: boolean
  readonly why?: string
  readonly second?: string
}

// Refused or not, what was published stays so; who reads the refusal should know.
async function releaseFresh(server: Server, result: Published, { by, why, second }: PublishOptions): Promise<void> {
  const target = `/packages/${encodeURIComponent(result.job)}/${result.package}/release`
  try {
    await server.send('POST', target, { by, why: why ?? 'released on publishing', second })
  } catch (error) {
    if (!(error instanceof Problem)) throw error
    const { code, message, place, findings } = error
    throw new Problem(code, `${message}; ${publishedText(result, false)}`, { ...place, findings })
  }
}

function releaseTarget(job: string, of: { package?: string; design?: string; version?: string }): string {
  if (of.package && (of.design || of.version))
    throw new Problem('usage', 'name --package, or --design and --version, not both')
  if (of.package) return `/packages/${encodeURIComponent(job)}/${wholeOf(of.package, '--package', { min: 1 })}/release`
  if (!(of.design && of.version)) throw new Problem('usage', 'name --package, or --design and --version')
  return `${versionTarget(job, of.design, of.version)}/release`
}

const versionTarget = (job: string, design: string, version: string): string =>
  `/jobs/${encodeURIComponent(job)}/designs/${encodeURIComponent(design)}/versions/${wholeOf(version, '--version', { min: 1 })}`

function versionActs(add: AddCommand): void {
  add<{ by?: string; why: string; second?: string; package?: string; design?: string; version?: string }>(
    'release',
    'Release the versions of a package, or one version of a design',
    (command) =>
      command
        .argument('<job>', 'name of the job')
        .option('--package <number>', 'all versions that this package carries')
        .option('--design <design>', 'one design …')
        .option('--version <number>', '… and its version')
        .requiredOption('--by <name>', 'who releases')
        .requiredOption('--why <reason>', 'why')
        .option('--second <name>', 'a second person, where policy asks for one'),
    ({ withServer, output }, { by, why, second, ...of }, [job = '']) => {
      const target = releaseTarget(job, of)
      return withServer(async (server) => {
        const { released } = await server.send<{ released: unknown[] }>('POST', target, { by, why, second })
        const text =
          released.length > 0
            ? `${counted(released.length, 'version')} of ${job} released`
            : 'nothing to release: all of it is released already'
        output.result({ released }, text)
        return 0
      })
    },
  )
  add<{ by?: string; why: string; second?: string; design: string; version: string; yes?: boolean }>(
    'withdraw',
    'Recall a version: runs stop laying it at once, and it can never be released again',
    (command) =>
      command
        .argument('<job>', 'name of the job')
        .requiredOption('--design <design>', 'the design …')
        .requiredOption('--version <number>', '… and its version')
        .requiredOption('--by <name>', 'who recalls')
        .requiredOption('--why <reason>', 'why')
        .option('--second <name>', 'a second person, where policy asks for one')
        .option('--yes', 'a recall cannot be undone: confirm it'),
    ({ withServer, output }, { by, why, second, design, version, yes }, [job = '']) => {
      const target = `${versionTarget(job, design, version)}/withdraw`
      const name = `${job} ${design} version ${version}`
      if (!yes) throw new Problem('usage', `a recall cannot be undone; add --yes to recall ${name}`)
      return withServer(async (server) => {
        const result = await server.send<Withdrawn>('POST', target, { by, why, second })
        const runs = result.runs.map((run) => {
          const labels = run.labels ? `\n${recalledText(run.labels).replaceAll(/^/gm, '    ')}` : ''
          return `\n  run ${run.runId}: ${counted(run.revoked, 'answer')} revoked; see its stops with: rollcall runs ${run.runId}${labels}`
        })
        const done = result.outcome === 'unchanged' ? 'was withdrawn already' : 'withdrawn'
        output.result(result, `${name} ${done}${runs.join('')}`)
        return 0
      })
    },
  )
}

interface Withdrawn {
  readonly outcome: string
  readonly runs: readonly { readonly runId: string; readonly revoked: number; readonly labels?: RecalledLabels }[]
}

interface JobView {
  readonly job: string
  readonly title: string
  readonly packages: readonly { readonly package: number }[]
  readonly designs: readonly {
    readonly design: string
    readonly versions: readonly { version: number; state: string; printVersions: string[] }[]
  }[]
}

/** Adds the commands of prepress. */
export function packageCommands(add: AddCommand): void {
  checkAndPublish(add)
  versionActs(add)
  add(
    'jobs',
    'What is published: jobs, or the designs and versions of one',
    (command) => command.argument('[job]', 'name of a job; absent: all'),
    ({ withServer, output }, _options, [job]) =>
      withServer(async (server) => {
        if (!job) {
          const { jobs } = await server.get<{
            jobs: { job: string; title: string; packages: number[]; designs: number }[]
          }>('/jobs')
          const rows = jobs.map((row) => [row.job, row.packages.join(', '), row.designs, row.title])
          output.result(
            jobs,
            jobs.length > 0 ? table(['job', 'packages', 'designs', 'title'], rows) : 'No job is published yet.',
          )
          return 0
        }
        const view = await server.get<JobView>(`/jobs/${encodeURIComponent(job)}`)
        const rows = view.designs.flatMap(({ design, versions }) =>
          versions.map((version) => [design, version.version, version.state, version.printVersions.join(', ')]),
        )
        output.result(view, table(['design', 'version', 'state', 'fits print versions'], rows))
        return 0
      }),
  )
}
