// Commands of the finishing lead: lines, tickets, readiness, runs and the acts on them.
import { readFile } from 'node:fs/promises'
import { Problem } from '../kernel/problem.ts'
import type { Answer } from '../runs/index.ts'
import { type AddCommand, numberOf } from './command.ts'
import { capturesIn, readsIn } from './feed.ts'
import { type Output, table } from './output.ts'
import { causeText, feedRoll, type OnStop, type RunView } from './run-roll.ts'
import type { Server } from './server.ts'

async function jsonFile(file: string): Promise<{ line?: string; ticket?: string }> {
  const text = await readFile(file, 'utf8').catch(() => {
    throw new Problem('not-found', `there is no file ${file}`, { file })
  })
  try {
    return JSON.parse(text) as never
  } catch (error) {
    throw new Problem('body-not-json', `not JSON: ${(error as Error).message}`, { file })
  }
}

function storeCommands(add: AddCommand): void {
  for (const what of ['line', 'ticket'] as const) {
    add(
      what,
      `Store a ${what === 'line' ? 'line profile' : 'ticket'} from a JSON file, or show the one of this name`,
      (command) => command.argument('<file-or-name>', `${what}.json, or a name`),
      ({ withServer, output }, _options, [given = '']) =>
        withServer(async (server) => {
          if (!given.endsWith('.json')) {
            const shown = await server.get<{ content: unknown }>(`/${what}s/${encodeURIComponent(given)}`)
            output.result(shown, JSON.stringify(shown.content, null, 2))
            return 0
          }
          const content = await jsonFile(given)
          const name = content[what]
          if (typeof name !== 'string')
            throw new Problem(`${what}-schema`, `the file names no ${what}`, { file: given, pointer: `/${what}` })
          const stored = await server.send<{ revision: number }>(
            'PUT',
            `/${what}s/${encodeURIComponent(name)}`,
            content,
          )
          output.result(stored, `${what} ${name} stored, revision ${stored.revision}`)
          return 0
        }),
    )
  }
  add<{ ticket: string; line: string }>(
    'readiness',
    'Whether a ticket may run on a line now: blockers and warnings',
    (command) => command.requiredOption('--ticket <ticket>').requiredOption('--line <line>'),
    ({ withServer, output }, { ticket, line }) =>
      withServer(async (server) => {
        const found = await server.get<Readiness>(`/readiness?${new URLSearchParams({ ticket, line })}`)
        const rows = [
          ...found.blockers.map((row) => ['blocker', ...readinessRow(row)]),
          ...found.warnings.map((row) => ['warning', ...readinessRow(row)]),
        ]
        const head = found.ready ? `Ticket ${ticket} is ready on ${line}.` : `Ticket ${ticket} is not ready on ${line}.`
        output.result(found, rows.length > 0 ? `${head}\n${table(['', 'code', 'what', 'why'], rows)}` : head)
        return found.ready ? 0 : 1
      }),
  )
}

interface Readiness {
  readonly ready: boolean
  readonly blockers: readonly ReadinessRow[]
  readonly warnings: readonly ReadinessRow[]
}
interface ReadinessRow {
  readonly code: string
  readonly message: string
  readonly job?: string
  readonly design?: string
  readonly version?: number
  readonly layer?: string
}

const readinessRow = (row: ReadinessRow): string[] => [
  row.code,
  [row.job, row.design, row.version, row.layer].filter((part) => part !== undefined).join('/'),
  row.message,
]

export function viewText(view: RunView): string {
  const { counts } = view
  const flags = Object.entries(counts.flags).map(([flag, labels]) => `${labels} ${flag}`)
  const open = view.causes.filter((row) => row.status === 'open').map((row) => `\n  stop open: ${causeText(row.cause)}`)
  return `run ${view.runId} is ${view.state}: ${counts.frames} frames, ${counts.labels} labels: ${counts.lay} lay, ${counts.skip} skip, ${counts.stop} stop (set-up ${counts.setup}, revoked ${counts.revoked})${flags.length > 0 ? `\n  flags: ${flags.join(', ')}` : ''}${open.join('')}`
}

interface RunOptions {
  readonly ticket?: string
  readonly line?: string
  readonly resume?: string
  readonly by: string
  readonly why?: string
  readonly override?: boolean
  readonly captures?: string
  readonly reads?: string
  readonly setup: string
  readonly provedBy?: string
  readonly onStop: OnStop
  readonly seal?: boolean
}

async function openOrResume(server: Server, options: RunOptions): Promise<string> {
  if (options.resume) return options.resume
  const { ticket, line, by, why, override } = options
  if (!ticket || !line) throw new Problem('usage', 'name --ticket and --line, or --resume with a run')
  const { runId } = await server.send<RunView>('POST', '/runs', {
    ticket,
    line,
    by,
    ...(why ? { why } : {}),
    ...(override ? { override } : {}),
  })
  return runId
}

async function runRoll(server: Server, options: RunOptions, output: Output): Promise<number> {
  const feeds = options.captures
    ? await capturesIn(options.captures)
    : options.reads
      ? await readsIn(options.reads)
      : []
  if (!['ask', 'skip-rest', 'resume', 'end'].includes(options.onStop))
    throw new Problem('usage', '--on-stop takes ask, skip-rest, resume or end')
  const runId = await openOrResume(server, options)
  output.line(`run ${runId}`)
  if (feeds.length === 0) {
    output.result({ runId }, 'No --captures and no --reads: the run waits for its controller.')
    return 0
  }
  const plan = {
    feeds,
    by: options.by,
    setupFrames: numberOf(options.setup, '--setup') ?? 5,
    provedBy: options.provedBy,
    onStop: options.onStop,
    pendingMax: 3,
  }
  let view = await feedRoll(server, runId, plan, output)
  if (options.seal) {
    await server.send('POST', `/runs/${encodeURIComponent(runId)}/close`, { by: options.by })
    view = await server.send<RunView>('POST', `/runs/${encodeURIComponent(runId)}/seal`, { by: options.by })
  }
  output.result(view, viewText(view))
  return 0
}

function runCommand(add: AddCommand): void {
  add<RunOptions>(
    'run',
    'Open a run (or take one up again) and feed it a folder of captures or a CSV of reads',
    (command) =>
      command
        .option('--ticket <ticket>')
        .option('--line <line>')
        .option('--resume <run>', 'go on with this run instead of opening one; frames that it has are passed over')
        .requiredOption('--by <name>', 'the finishing lead')
        .option('--override', 'open in spite of blockers; needs --why')
        .option('--why <reason>')
        .option('--captures <folder>', 'pictures named <frame>_<position µm>.jpg or .png')
        .option('--reads <csv>', 'columns frame, positionMm, cell or lane, text, symbology, quality')
        .option('--setup <frames>', 'set-up frames before proving is asked for', '5')
        .option('--proved-by <name>', 'who compared embellishment with code on every lane; asked for where absent')
        .option('--on-stop <what>', 'ask, skip-rest, resume or end', 'ask')
        .option('--seal', 'close and seal the run at the end'),
    ({ withServer, output }, options) => withServer((server) => runRoll(server, options, output)),
  )
  add(
    'runs',
    'All runs, or one in detail',
    (command) => command.argument('[run]'),
    ({ withServer, output }, _options, [runId]) =>
      withServer(async (server) => {
        if (runId) {
          const view = await server.get<RunView>(`/runs/${encodeURIComponent(runId)}`)
          output.result(view, viewText(view))
          return 0
        }
        const { runs } = await server.get<{
          runs: { runId: string; state: string; ticket: string; line: string; createdAtMs: number }[]
        }>('/runs')
        const rows = runs.map((run) => [
          run.runId,
          run.state,
          run.ticket,
          run.line,
          new Date(run.createdAtMs).toISOString(),
        ])
        output.result(
          runs,
          rows.length > 0 ? table(['run', 'state', 'ticket', 'line', 'opened'], rows) : 'No run was opened yet.',
        )
        return 0
      }),
  )
}

interface ActRow {
  readonly name: string
  readonly about: string
  readonly needsWhy?: true
  readonly options?: readonly (readonly [string, string])[]
  readonly body: (options: Record<string, string>) => object
}

const causeOf = (text: string): object => {
  const [flag, job, design, print] = text.split('/')
  return { flag, ...(job ? { job } : {}), ...(design ? { design } : {}), ...(print ? { print } : {}) }
}

const acts: readonly ActRow[] = [
  { name: 'proving', about: 'Start proving, or ask for it again', body: () => ({}) },
  {
    name: 'prove',
    about: 'You compared embellishment with code on these lanes: the run proper begins',
    options: [['--lanes <numbers>', 'such as 1,2,3,4']],
    body: ({ lanes = '' }) => ({ lanes: lanes.split(',').map(Number) }),
  },
  {
    name: 'clear',
    about: 'You looked at a stop: go on, or let the rest of these labels pass without',
    needsWhy: true,
    options: [
      ['--cause <flag/job/design/print>', 'as `rollcall runs RUN` shows it'],
      ['--after <what>', 'resume or skip-rest'],
    ],
    body: ({ cause = '', after }) => ({ cause: causeOf(cause), after }),
  },
  {
    name: 'material',
    about: 'Record an event of the material',
    options: [['--event <event>', 'splice, cut-out, re-thread, pitch-change or foil']],
    body: ({ event, why }) => ({ event, ...(why ? { note: why } : {}) }),
  },
  { name: 'close', about: 'End the taking of frames', body: () => ({}) },
  { name: 'seal', about: 'Seal the closed run under a signed Merkle root', body: () => ({}) },
  { name: 'abort', about: 'Give the run up; its ledger stays', needsWhy: true, body: () => ({}) },
]

function actCommands(add: AddCommand): void {
  for (const act of acts) {
    add<Record<string, string>>(
      act.name,
      act.about,
      (command) => {
        command.argument('<run>').requiredOption('--by <name>', 'who acts')
        for (const [flag, about] of act.options ?? []) command.requiredOption(flag, about)
        return act.needsWhy ? command.requiredOption('--why <reason>') : command.option('--why <reason>')
      },
      ({ withServer, output }, options, [runId = '']) =>
        withServer(async (server) => {
          const { by, why } = options
          const reason = why && act.name !== 'material' ? { why } : {}
          const body = { by, ...reason, ...act.body(options) }
          const view = await server.send<RunView>('POST', `/runs/${encodeURIComponent(runId)}/${act.name}`, body)
          output.result(view, viewText(view))
          return 0
        }),
    )
  }
}

function answersCommand(add: AddCommand): void {
  add<{ after: string; frame?: string; limit: string }>(
    'answers',
    'Answers of a run: all after a cursor, or those of one frame',
    (command) =>
      command
        .argument('<run>')
        .option('--after <cursor>', 'ledger index; −1 for all', '-1')
        .option('--limit <entries>', 'ledger entries looked at', '1000')
        .option('--frame <frame>'),
    ({ withServer, output }, options, [runId = '']) =>
      withServer(async (server) => {
        const query = new URLSearchParams({
          after: options.after,
          limit: options.limit,
          ...(options.frame ? { frame: options.frame } : {}),
        })
        const page = await server.get<{ answers: Answer[]; cursor: number }>(
          `/runs/${encodeURIComponent(runId)}/answers?${query}`,
        )
        const rows = page.answers.map((answer) => [
          answer.frame,
          answer.place,
          answer.cell,
          answer.revokedBy === undefined ? answer.decision : `${answer.decision}, revoked`,
          answer.flags.join(' '),
          answer.identity
            ? `${answer.identity.design}${answer.identity.version ? ` v${answer.identity.version}` : ''}`
            : '',
          answer.identity?.text ?? '',
        ])
        output.result(
          page,
          `${table(['frame', 'place', 'cell', 'decision', 'flags', 'design', 'code'], rows)}\ncursor ${page.cursor}`,
        )
        return 0
      }),
  )
}

/** Adds the commands of the finishing lead. */
export function runCommands(add: AddCommand): void {
  storeCommands(add)
  runCommand(add)
  actCommands(add)
  answersCommand(add)
}
