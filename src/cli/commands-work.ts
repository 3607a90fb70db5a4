// Commands around the server itself: serve, demo, queued work, reading a picture.
import path from 'node:path'
import { Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { type WorkItem, workStates } from '../queue/port.ts'
import { type AddCommand, wholeOf } from './command.ts'
import { table } from './output.ts'

const logLevels = ['trace', 'debug', 'info', 'warn', 'error', 'fatal', 'silent']

const portOf = (text: string): number => wholeOf(text, '--port', { max: 65_535 })

const untilSignal = (): Promise<string> =>
  new Promise((resolve) => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => resolve(signal))
  })

function serverCommands(add: AddCommand): void {
  add<{ port?: string; host?: string; logLevel?: string }>(
    'serve',
    'Serve the HTTP interface and watch the intake and capture folders until stopped',
    (command) =>
      command
        .option('--port <number>', 'port; 0 for any free one (default: as configured, else 7070)')
        .option(
          '--host <name>',
          'address; beyond loopback it takes an active admin key (default: as configured, else 127.0.0.1)',
        )
        .addOption(
          new Option('--log-level <level>', 'of the log on standard error (default: as configured, else info)').choices(
            logLevels,
          ),
        ),
    async ({ parts, dataFolder, output }, { port, ...given }) => {
      // Heard from the first moment on, so that a signal while starting ends in an orderly way too.
      const signalled = untilSignal()
      const server = await parts.start({ dataFolder, ...given, ...(port === undefined ? {} : { port: portOf(port) }) })
      const folder = path.resolve(dataFolder)
      output.result(
        { url: server.url, dataFolder: folder },
        `Rollcall serves ${server.url}/api/v1 (page: ${server.url}/api/v1/docs/), data in ${folder}`,
      )
      await signalled
      await server.close()
      return 0
    },
  )
  add<{ serve?: boolean; port: string; folder: string }>(
    'demo',
    'Draw a roll, publish its packages through the watched folder, run it, and compare what was planted with what was found',
    (command) =>
      command
        .option('--folder <folder>', 'data directory of the demo; an earlier demo there is replaced', 'demo-data')
        .option('--serve', 'stay up afterwards and print the address')
        .option('--port <number>', 'port with --serve', '7070'),
    ({ parts, output }, options) =>
      parts.demo({
        dataFolder: options.folder,
        serve: options.serve === true,
        port: options.serve ? portOf(options.port) : 0,
        json: output.json,
      }),
  )
}

/** Adds `serve`, `demo`, `work`, `read`. */
export function workCommands(add: AddCommand): void {
  serverCommands(add)
  add<{ state?: string; kind?: string; requeue?: string; cancel?: string }>(
    'work',
    'Queued work: list it, put dead work back, cancel',
    (command) =>
      command
        .addOption(new Option('--state <state>', 'only work in this state').choices(workStates))
        .option('--kind <kind>', 'only work of this kind, such as publish or read-capture')
        .option('--requeue <id>', 'put dead or cancelled work back with fresh tries')
        .option('--cancel <id>', 'cancel waiting or running work'),
    ({ withServer, output }, options) =>
      withServer(async (server) => {
        if (options.requeue && options.cancel) throw new Problem('usage', 'name --requeue or --cancel, not both')
        const act = options.requeue ? 'requeue' : options.cancel ? 'cancel' : undefined
        if (act) {
          const id = options.requeue ?? options.cancel ?? ''
          const work = await server.send<WorkItem>('POST', `/work/${encodeURIComponent(id)}/${act}`)
          output.result(work, `${work.id} is ${work.state}`)
          return 0
        }
        const query = new URLSearchParams({
          ...(options.state ? { state: options.state } : {}),
          ...(options.kind ? { kind: options.kind } : {}),
        })
        const { counts, work } = await server.get<{ counts: Record<string, number>; work: WorkItem[] }>(
          `/work?${query}`,
        )
        const rows = work.map((row) => [
          row.id,
          row.state,
          `${row.attempts}/${row.attemptsMax}`,
          (row.error as { detail?: string })?.detail ?? row.progressNote,
        ])
        const summary = Object.entries(counts).map(([state, count]) => `${count} ${state}`)
        const listed = rows.length > 0 ? [table(['id', 'state', 'tries', 'note'], rows)] : []
        output.result({ counts, work }, [summary.join(', '), ...listed].join('\n'))
        return 0
      }),
  )
  add(
    'read',
    'Read all codes in a picture (PNG, JPEG, TIFF)',
    (command) => command.argument('<picture>', 'file'),
    ({ withServer, output }, _options, [file = '']) =>
      withServer(async (server) => {
        const result = await server.send<{
          codes: { text: string; identifier: string; quality?: number; centre: { x: number; y: number } }[]
        }>('POST', '/codes/read', { path: path.resolve(file) })
        const rows = result.codes.map((code) => [
          code.identifier,
          code.quality === undefined ? '–' : code.quality.toFixed(2),
          `${Math.round(code.centre.x)}, ${Math.round(code.centre.y)}`,
          JSON.stringify(code.text),
        ])
        output.result(
          result,
          rows.length > 0 ? table(['symbology', 'quality', 'at px', 'text'], rows) : 'No code was read.',
        )
        return result.codes.length > 0 ? 0 : 1
      }),
  )
}
