// The simulator's command: a line that is not there yet, run against a server.
import path from 'node:path'
import { Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { type AddCommand, numberOf, wholeOf } from './command.ts'
import type { Output } from './output.ts'
import type { OnStop } from './run-roll.ts'
import type { RunView } from './run-text.ts'
import type { Server } from './server.ts'
import { flatOut, outcomeText, readScenario, simulate, timedPace, unmet, withSerialsFrom } from './simulate/index.ts'

interface SimulateOptions {
  readonly run?: string
  readonly ticket?: string
  readonly line?: string
  readonly speed: string
  readonly flatOut?: boolean
  readonly window: string
  readonly seed?: string
  readonly firstSerial?: string
  /** Absent with a personal key. */
  readonly by?: string
  readonly provedBy?: string
  readonly onStop: OnStop
}

const seedMax = 0xffff_ffff

async function openOrTake(server: Server, { run, ticket, line, by }: SimulateOptions): Promise<string> {
  if (run) return run
  const { runId } = await server.send<RunView>('POST', '/runs', { ticket, line, by })
  return runId
}

function checkOptions({ run, ticket, line, speed }: SimulateOptions): number {
  if (run ? ticket || line : !ticket || !line) throw new Problem('usage', 'name --run, or --ticket and --line')
  const times = numberOf(speed, '--speed')
  if (times <= 0 || times > 10_000) throw new Problem('usage', `--speed takes a number above 0, not "${speed}"`)
  return times
}

// Who is at no terminal can neither be asked nor prove.
function checkPeople(state: string, { provedBy, onStop }: SimulateOptions): void {
  if (process.stdin.isTTY) return
  if (state !== 'open' && provedBy === undefined)
    throw new Problem('usage', 'nobody is at a terminal to prove the run: add --proved-by')
  if (onStop === 'ask') throw new Problem('usage', 'nobody is at a terminal to look at stops: add --on-stop')
}

async function simulateFile(
  server: Server,
  { file, options, output }: { file: string; options: SimulateOptions; output: Output },
): Promise<number> {
  const times = checkOptions(options)
  const windowFrames = wholeOf(options.window, '--window', { min: 1, max: 10_000 })
  const firstSerial = options.firstSerial === undefined ? undefined : wholeOf(options.firstSerial, '--first-serial')
  const scenario = withSerialsFrom(await readScenario(file), firstSerial)
  const seed = options.seed === undefined ? scenario.seed : wholeOf(options.seed, '--seed', { max: seedMax })
  const { state } = options.run
    ? await server.get<RunView>(`/runs/${encodeURIComponent(options.run)}`)
    : { state: 'ready' }
  checkPeople(state, options)
  const runId = await openOrTake(server, options)
  output.line(`run ${runId}, seed ${seed}`)
  const leaving = new AbortController()
  const leave = (): void => leaving.abort(new DOMException(`interrupted; run ${runId} stays as it is`, 'AbortError'))
  process.once('SIGINT', leave)
  try {
    const outcome = await simulate({
      ...options,
      server,
      scenario,
      folder: path.dirname(file),
      runId,
      seed,
      pace: () => (options.flatOut ? flatOut : timedPace(times)),
      windowFrames,
      provedBy: options.provedBy,
      output,
      screen: process.stderr.isTTY && !output.json ? process.stderr : undefined,
      signal: leaving.signal,
    })
    const missed = scenario.expect && unmet(scenario.expect, outcome)
    output.result(missed ? { ...outcome, unmet: missed } : outcome, outcomeText(outcome, missed))
    return missed && missed.length > 0 ? 1 : outcome.exitCode
  } finally {
    process.off('SIGINT', leave)
  }
}

/** Adds `simulate`. */
export function simulateCommand(add: AddCommand): void {
  add<SimulateOptions>(
    'simulate',
    'Run a roll as a line would, with troubles planted, and hold its truth against the ledger',
    (command) =>
      command
        .argument('<scenario>', 'a JSON file, rollcall.scenario/1')
        .option('--run <run>', 'a fresh run')
        .option('--ticket <ticket>', 'name of a stored ticket to open a run on')
        .option('--line <line>', 'name of a stored line')
        .option('--speed <times>', 'so many times as fast as the line', '1')
        .option('--flat-out', 'as fast as answers come')
        .option(
          '--window <frames>',
          'with --flat-out: frames under way at most; 1 makes every run of a seed alike',
          '1',
        )
        .option('--seed <number>', 'instead of the scenario’s')
        .option('--first-serial <number>', 'instead of the scenario’s: serials that other runs laid are duplicates')
        .requiredOption('--by <name>', 'who opens the run and clears its stops')
        .option('--proved-by <name>', 'who compared embellishment with code on every lane; asked for where absent')
        .addOption(
          new Option('--on-stop <what>', 'what to do at a stop')
            .choices(['ask', 'skip-rest', 'resume', 'end'])
            .default('ask'),
        ),
    ({ withServer, output }, options, [file = '']) =>
      withServer((server) => simulateFile(server, { file, options, output })),
  )
}
