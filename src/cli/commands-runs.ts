// Commands of the finishing lead: opening a run and feeding it, and what runs there are.
import { Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { type AddCommand, wholeOf } from './command.ts'
import { capturesIn, demandCells, type Feed, readsIn } from './feed.ts'
import { orHowToMend } from './not-ready.ts'
import { type Output, table } from './output.ts'
import { feedRoll, type OnStop } from './run-roll.ts'
import { type RunView, viewText } from './run-text.ts'
import type { Server } from './server.ts'

interface RunOptions {
  readonly ticket?: string
  readonly line?: string
  readonly resume?: string
  /** Absent with a personal key. */
  readonly by?: string
  readonly why?: string
  readonly override?: boolean
  readonly captures?: string
  readonly reads?: string
  readonly setup: string
  readonly provedBy?: string
  readonly onStop: OnStop
  readonly seal?: boolean
}

interface OrientationReply {
  readonly orientation: { readonly cells?: readonly { readonly cell: number; readonly lane: number }[] }
}

// What the run would refuse for another reason is left to it.
async function cellsOn(server: Server, { ticket, line }: { ticket: string; line: string }) {
  const target = `/lines/${encodeURIComponent(line)}/orientation?${new URLSearchParams({ ticket })}`
  const reply = await server.get<OrientationReply>(target).catch((error) => {
    if (error instanceof Problem) return undefined
    throw error
  })
  return reply?.orientation?.cells
}

async function openOrResume(server: Server, options: RunOptions, feeds: readonly Feed[]): Promise<string> {
  if (options.resume) return options.resume
  const { ticket, line, by, why, override } = options
  if (!ticket || !line) throw new Problem('usage', 'name --ticket and --line, or --resume with a run')
  if (override && !why) throw new Problem('usage', '--override needs --why')
  const cells = options.reads ? await cellsOn(server, { ticket, line }) : undefined
  if (cells) demandCells(feeds, cells)
  const order = { ticket, line, by, ...(why ? { why } : {}), ...(override ? { override } : {}) }
  const { runId } = await orHowToMend(
    () => server.send<RunView>('POST', '/runs', order),
    () => ({ ticket, line }),
  )
  return runId
}

async function feedsOf({ captures, reads }: RunOptions): Promise<readonly Feed[]> {
  if (captures && reads) throw new Problem('usage', 'name --captures or --reads, not both')
  if (captures) return capturesIn(captures)
  return reads ? readsIn(reads) : []
}

// Whatever ends the feeding, the run stays: say how to go on with it.
async function goingOn<T>(runId: string, work: () => Promise<T>): Promise<T> {
  const how = `go on with: rollcall run --resume ${runId} …`
  try {
    return await work()
  } catch (error) {
    if (error instanceof Problem)
      throw new Problem(error.code, `${error.message}; ${how}`, { ...error.place, findings: error.findings })
    if ((error as Error).name === 'AbortError') throw new DOMException(`interrupted; ${how}`, 'AbortError')
    throw error
  }
}

async function runRoll(server: Server, options: RunOptions, output: Output): Promise<number> {
  const feeds = await feedsOf(options)
  const setupFrames = wholeOf(options.setup, '--setup', { min: 1 })
  const asks = options.provedBy === undefined && !process.stdin.isTTY
  if (asks && feeds.length > 0 && !options.resume)
    throw new Problem('usage', 'nobody is at a terminal to prove the run: add --proved-by')
  const runId = await openOrResume(server, options, feeds)
  output.line(`run ${runId}`)
  if (feeds.length === 0) {
    output.result({ runId }, 'No --captures and no --reads: the run waits for its controller.')
    return 0
  }
  const { by, provedBy, onStop, seal } = options
  const at = `/runs/${encodeURIComponent(runId)}`
  const view = await goingOn(runId, async () => {
    const fed = await feedRoll(server, runId, { feeds, by, setupFrames, provedBy, onStop, pendingMax: 3 }, output)
    if (!seal) return fed
    await server.send('POST', `${at}/close`, { by })
    return server.send<RunView>('POST', `${at}/seal`, { by })
  })
  output.result(view, viewText(view))
  return 0
}

/** Adds `run` and `runs`. */
export function runCommands(add: AddCommand): void {
  add<RunOptions>(
    'run',
    'Open a run (or take one up again) and feed it a folder of captures or a CSV of reads',
    (command) =>
      command
        .option('--ticket <ticket>', 'name of a stored ticket')
        .option('--line <line>', 'name of a stored line')
        .option('--resume <run>', 'go on with this run instead of opening one; frames that it has are passed over')
        .requiredOption('--by <name>', 'the finishing lead')
        .option('--override', 'open in spite of blockers; needs --why')
        .option('--why <reason>', 'reason, with --override')
        .option('--captures <folder>', 'pictures named <frame>_<position µm>.jpg or .png')
        .option('--reads <csv>', 'columns frame, positionMm, cell or lane, text, symbology, quality')
        .option('--setup <frames>', 'set-up frames before proving is asked for', '5')
        .option('--proved-by <name>', 'who compared embellishment with code on every lane; asked for where absent')
        .addOption(
          new Option('--on-stop <what>', 'what to do at a stop')
            .choices(['ask', 'skip-rest', 'resume', 'end'])
            .default('ask'),
        )
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
        const { runs, onlyLine } = await server.get<{
          runs: { runId: string; state: string; ticket: string; line: string; createdAtMs: number }[]
          onlyLine?: string
        }>('/runs')
        const rows = runs.map((run) => [
          run.runId,
          run.state,
          run.ticket,
          run.line,
          new Date(run.createdAtMs).toISOString(),
        ])
        const none = onlyLine
          ? `No run was opened on line ${onlyLine} yet; this key sees no other line.`
          : 'No run was opened yet.'
        output.result(runs, rows.length > 0 ? table(['run', 'state', 'ticket', 'line', 'opened'], rows) : none)
        return 0
      }),
  )
}
