// Commands of prepress: check, publish, release, withdraw, and what is published.
import { createReadStream } from 'node:fs'
import { stat } from 'node:fs/promises'
import path from 'node:path'
import { Readable } from 'node:stream'
import { setTimeout as pause } from 'node:timers/promises'
import { type Finding, Problem, type ProblemCode } from '../kernel/problem.ts'
import type { WorkItem } from '../queue/port.ts'
import type { AddCommand } from './command.ts'
import { type Output, table } from './output.ts'
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
  const megabytes = (report.bytes / 1e6).toFixed(1)
  const head = `${report.job} package ${report.package} "${report.title}": no findings in ${report.files} files, ${megabytes} MB.${known}`
  output.result(report, report.facts.length > 0 ? `${head}\n\n${factsTable(report.facts)}` : head)
  return 0
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
  add<{ by: string; release?: boolean; why?: string }>(
    'publish',
    'Check and publish a job package (folder or ZIP) in one atomic step',
    (command) =>
      command
        .argument('<package>', 'folder or ZIP')
        .requiredOption('--by <name>', 'who publishes')
        .option('--release', 'release its versions at once')
        .option('--why <reason>', 'reason, with --release'),
    ({ withServer, output }, options, [source = '']) =>
      withServer(async (server) => {
        const work = await submit(server, source, `/packages?by=${encodeURIComponent(options.by)}`)
        const result = await followWork<Published>(server, work.id, output)
        const word = result.outcome === 'unchanged' ? 'is published already; nothing changed' : 'published'
        if (options.release) {
          await server.send('POST', `/packages/${result.job}/${result.package}/release`, {
            by: options.by,
            why: options.why ?? 'released on publishing',
          })
        }
        output.result(result, `${result.job} package ${result.package} ${word}${options.release ? ', released' : ''}`)
        return 0
      }),
  )
}

function versionActs(add: AddCommand): void {
  add<{ by: string; why: string; package?: string; design?: string; version?: string }>(
    'release',
    'Release the versions of a package, or one version of a design',
    (command) =>
      command
        .argument('<job>')
        .option('--package <number>', 'all versions that this package carries')
        .option('--design <design>', 'one design …')
        .option('--version <number>', '… and its version')
        .requiredOption('--by <name>', 'who releases')
        .requiredOption('--why <reason>', 'why'),
    ({ withServer, output }, { by, why, ...of }, [job = '']) =>
      withServer(async (server) => {
        const target = of.package
          ? `/packages/${encodeURIComponent(job)}/${of.package}/release`
          : `/jobs/${encodeURIComponent(job)}/designs/${encodeURIComponent(of.design ?? '')}/versions/${of.version}/release`
        if (!of.package && !(of.design && of.version))
          throw new Problem('usage', 'name --package, or --design and --version')
        const result = await server.send<{ released: unknown[] }>('POST', target, { by, why })
        output.result(result, `${result.released.length} versions of ${job} released`)
        return 0
      }),
  )
  add<{ by: string; why: string; design: string; version: string; yes?: boolean }>(
    'withdraw',
    'Recall a version: runs stop laying it at once, and it can never be released again',
    (command) =>
      command
        .argument('<job>')
        .requiredOption('--design <design>')
        .requiredOption('--version <number>')
        .requiredOption('--by <name>', 'who recalls')
        .requiredOption('--why <reason>', 'why')
        .option('--yes', 'a recall cannot be undone: confirm it'),
    ({ withServer, output }, { by, why, design, version, yes }, [job = '']) =>
      withServer(async (server) => {
        if (!yes)
          throw new Problem(
            'usage',
            `a recall cannot be undone; add --yes to recall ${job} ${design} version ${version}`,
          )
        const target = `/jobs/${encodeURIComponent(job)}/designs/${encodeURIComponent(design)}/versions/${version}/withdraw`
        const result = await server.send<{ runs: { runId: string; revoked: number }[] }>('POST', target, { by, why })
        const runs = result.runs.map((run) => `\n  run ${run.runId}: ${run.revoked} answers revoked, a stop asked for`)
        output.result(result, `${job} ${design} version ${version} withdrawn${runs.join('')}`)
        return 0
      }),
  )
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
    (command) => command.argument('[job]'),
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
