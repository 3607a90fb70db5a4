// The command line: every command with its options and help. Commands speak HTTP to the server (see server.ts).
import { Command, CommanderError, Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { packageCommands } from './commands-packages.ts'
import { recordCommands } from './commands-records.ts'
import { runCommands } from './commands-runs.ts'
import { workCommands } from './commands-work.ts'
import { type Output, openOutput, showFailure } from './output.ts'
import { type Server, type StartServer, withServer } from './server.ts'

export interface CliParts {
  readonly version: string
  readonly start: StartServer
  /** The demo; returns the exit code. */
  readonly demo: (options: { dataFolder: string; serve: boolean; port: number; json: boolean }) => Promise<number>
}

/** What a command's action works with. */
export interface Context {
  readonly dataFolder: string
  readonly output: Output
  readonly parts: CliParts
  withServer<T>(work: (server: Server) => Promise<T>): Promise<T>
}

/** Adds a command whose action gets its context, arguments and options. */
export type AddCommand = <O extends object>(
  usage: string,
  about: string,
  build: (command: Command) => Command,
  action: (context: Context, options: O, args: readonly string[]) => Promise<number | undefined>,
) => void

const caution = `
Cautions: UV lamps, ozone, nips and moving webs injure. Rollcall is no safety function: nothing here interlocks, stops or restarts a
machine. Local codes, the machine's manual and licensed practice come first. A named person releases medicine and food labels.`

/** Runs one command line (without node and script) and returns the exit code. */
export async function runCli(argv: readonly string[], parts: CliParts): Promise<number> {
  let exitCode = 0
  const program = new Command('rollcall')
    .description('Which embellishment layer does this label need, and what was laid on it? Packages, runs, records.')
    .version(parts.version)
    .option('--data <folder>', 'data directory', process.env.ROLLCALL_DATA ?? 'data')
    .option('--url <url>', 'a running server, instead of the one of the data directory')
    .addOption(new Option('--json', 'print results (and problems) as JSON'))
    .addHelpText('after', caution)
    .showHelpAfterError('(rollcall --help lists the commands)')
    .exitOverride()
    .configureOutput({ writeErr: (text) => process.stderr.write(text) })

  const contextOf = (): Context => {
    const { data, json, url } = program.opts<{ data: string; json?: boolean; url?: string }>()
    return {
      dataFolder: data,
      output: openOutput(json === true),
      parts,
      withServer: (work) => withServer({ dataFolder: data, start: parts.start, url }, work),
    }
  }
  const add: AddCommand = (usage, about, build, action) => {
    const command = build(program.command(usage).description(about))
    command.exitOverride().action(async () => {
      const args = command.processedArgs.flat() as string[]
      exitCode = (await action(contextOf(), command.opts() as never, args)) ?? 0
    })
  }
  packageCommands(add)
  runCommands(add)
  recordCommands(add)
  workCommands(add)
  try {
    await program.parseAsync([...argv], { from: 'user' })
  } catch (error) {
    if (error instanceof CommanderError) return error.exitCode === 0 ? 0 : 2
    return showFailure(error, program.opts<{ json?: boolean }>().json === true)
  }
  return exitCode
}

/** A number from an option. Problem `usage`. */
export function numberOf(text: string | undefined, name: string): number | undefined {
  if (text === undefined) return undefined
  const number = Number(text)
  if (text.trim() === '' || !Number.isFinite(number))
    throw new Problem('usage', `${name} takes a number, not "${text}"`)
  return number
}
