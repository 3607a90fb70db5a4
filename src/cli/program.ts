// The command line: every command with its options and help. Commands speak HTTP to the server (see server.ts).
import { Command, CommanderError, Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import type { AddCommand, CliParts, Context } from './command.ts'
import { actCommands } from './commands-acts.ts'
import { codeCommands } from './commands-codes.ts'
import { finishedCommands } from './commands-finished.ts'
import { keyCommands } from './commands-keys.ts'
import { lineCommands } from './commands-lines.ts'
import { orderCommand } from './commands-order.ts'
import { orientationCommand } from './commands-orientation.ts'
import { packageCommands } from './commands-packages.ts'
import { readerCommands } from './commands-readers.ts'
import { readinessCommand } from './commands-readiness.ts'
import { recordCommands } from './commands-records.ts'
import { rollCommands } from './commands-rolls.ts'
import { runCommands } from './commands-runs.ts'
import { setUpCommands } from './commands-set-up.ts'
import { simulateCommand } from './commands-simulate.ts'
import { sumsCommand } from './commands-sums.ts'
import { verifyCommand } from './commands-verify.ts'
import { workCommands } from './commands-work.ts'
import { openOutput, showFailure } from './output.ts'
import { withServer } from './server.ts'

const caution = `
Cautions: UV lamps, ozone, nips and moving webs injure. Rollcall is no safety function: nothing here interlocks, stops or restarts a
machine. Local codes, the machine's manual and licensed practice come first. A named person releases medicine and food labels.`

// `--version` of a command names a version of a design, so the program's own stands alone.
const ownVersion = (argv: readonly string[]): string[] =>
  argv.length === 1 && argv[0] === '--version' ? ['-V'] : [...argv]

interface GlobalOptions {
  readonly data: string
  readonly json?: boolean
  readonly url?: string
  readonly key?: string
  readonly secondKey?: string
}

function openProgram(version: string, json: boolean): Command {
  return new Command('rollcall')
    .description('Which embellishment layer does this label need, and what was laid on it? Packages, runs, records.')
    .version(version, '-V', 'print the version (also --version by itself)')
    .option('--data <folder>', 'data directory (also ROLLCALL_DATA)', process.env.ROLLCALL_DATA || 'data')
    .option('--url <url>', 'a running server, instead of the one of the data directory')
    .addOption(
      new Option(
        '--key <key>',
        'your key; default: the local one of the data directory; with one made for you by name, --by may be left out',
      ).env('ROLLCALL_KEY'),
    )
    .addOption(
      new Option('--second-key <key>', "a second person's own key, for an act that takes two").env(
        'ROLLCALL_SECOND_KEY',
      ),
    )
    .addOption(new Option('--json', 'print results (and problems) as JSON'))
    .addHelpText('after', caution)
    .configureHelp({ showGlobalOptions: true })
    .exitOverride()
    .configureOutput({ outputError: (text, write) => (json ? undefined : write(text)) })
}

// Whose key it is only the server knows, and it says where somebody must be named.
function withKeyNobodyNeedBeNamed(program: Command, command: Command): void {
  if (!program.opts<GlobalOptions>().key) return
  for (const option of command.options) if (option.long === '--by') option.makeOptionMandatory(false)
}

/** Runs one command line (without node and script) and returns the exit code. */
export async function runCli(argv: readonly string[], parts: CliParts): Promise<number> {
  let exitCode = 0
  const json = argv.includes('--json')
  const program = openProgram(parts.version, json).showHelpAfterError(!json && '(rollcall --help lists the commands)')

  const contextOf = (): Context => {
    const { data, json, url, ...shown } = program.opts<GlobalOptions>()
    // An empty variable is none.
    const keys = { key: shown.key || undefined, secondKey: shown.secondKey || undefined }
    return {
      dataFolder: data,
      output: openOutput(json === true),
      parts,
      withServer: (work) => withServer({ dataFolder: data, start: parts.start, url, ...keys }, work),
    }
  }
  program.hook('preSubcommand', withKeyNobodyNeedBeNamed)
  const add: AddCommand = (usage, about, build, action) => {
    const command = build(program.command(usage).description(about))
    command.showHelpAfterError(!json && `(rollcall ${usage} --help shows how)`).action(async () => {
      const args = command.processedArgs.flat() as string[]
      exitCode = (await action(contextOf(), command.opts() as never, args)) ?? 0
    })
  }
  packageCommands(add)
  lineCommands(add)
  readinessCommand(add)
  sumsCommand(add)
  orientationCommand(add)
  orderCommand(add)
  runCommands(add)
  simulateCommand(add)
  actCommands(add)
  setUpCommands(add)
  codeCommands(add)
  recordCommands(add)
  finishedCommands(add)
  rollCommands(add)
  verifyCommand(add)
  readerCommands(add)
  workCommands(add)
  keyCommands(add)
  try {
    await program.parseAsync(ownVersion(argv), { from: 'user' })
  } catch (error) {
    if (!(error instanceof CommanderError)) return showFailure(error, json)
    if (error.exitCode === 0) return 0
    if (!json || error.code === 'commander.help') return 2
    return showFailure(new Problem('usage', error.message.replace(/^error: /, '')), json)
  }
  return exitCode
}
