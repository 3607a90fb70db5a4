// The command of the sums: what a ticket takes on a line, how fast, how long, how large; and what if.
import { Problem } from '../kernel/problem.ts'
import type { WorkItem } from '../queue/port.ts'
import { type AddCommand, numberOf, wholeOf } from './command.ts'
import { followWork } from './commands-packages.ts'
import type { Output } from './output.ts'
import type { Server } from './server.ts'
import { sumsText, type WeighedSums } from './sums-text.ts'

interface SumsOptions {
  readonly ticket: string
  readonly line: string
  readonly speed?: string
  readonly foil: readonly string[]
  readonly frames?: string
  readonly thickness?: string
}

type Reply = WeighedSums & { readonly whatIf?: WeighedSums }

const reelPattern =
  /^(?<station>[a-z]+)=(?<foil>[A-Za-z0-9][\w.-]*)(?:@(?<left>[\d.]+)\+(?<width>[\d.]+))?(?::(?<length>[\d.]+))?$/

/** `station=foil[@leftMm+widthMm][:lengthM]`. Problem `usage`. */
export function reelOf(text: string): Readonly<Record<string, string | number>> {
  const parts = reelPattern.exec(text)?.groups
  if (!parts) throw new Problem('usage', `--foil takes station=foil[@leftMm+widthMm][:lengthM], not "${text}"`)
  const { station = '', foil = '', left, width, length } = parts
  return {
    station,
    foil,
    ...(left === undefined ? {} : { leftMm: numberOf(left, '--foil') }),
    ...(width === undefined ? {} : { widthMm: numberOf(width, '--foil') }),
    ...(length === undefined ? {} : { lengthM: numberOf(length, '--foil') }),
  }
}

function whatIfOf({ speed, foil, frames, thickness }: SumsOptions): object | undefined {
  const whatIf = {
    ...(speed === undefined ? {} : { speedMPerMin: numberOf(speed, '--speed') }),
    ...(foil.length === 0 ? {} : { foils: foil.map(reelOf) }),
    ...(frames === undefined ? {} : { frames: wholeOf(frames, '--frames', { min: 1 }) }),
    ...(thickness === undefined ? {} : { thicknessMm: numberOf(thickness, '--thickness') }),
  }
  return Object.keys(whatIf).length > 0 ? whatIf : undefined
}

// Layers that nobody summed yet are read first, with progress; then the same question has its answer.
async function ask(server: Server, target: string, body: object, output: Output): Promise<Reply> {
  const reply = await server.send<Reply | WorkItem>('POST', target, body)
  if ('sums' in reply) return reply
  await followWork(server, reply.id, output)
  const again = await server.send<Reply | WorkItem>('POST', target, body)
  if ('sums' in again) return again
  throw new Problem('work-state', 'the layers of the ticket changed while they were read; ask again')
}

/** Adds `sums`. */
export function sumsCommand(add: AddCommand): void {
  add<SumsOptions>(
    'sums',
    'What a ticket takes on a line: varnish, foil, speed ceiling, diameters, minutes; options ask what if',
    (command) =>
      command
        .requiredOption('--ticket <ticket>', 'name of a stored ticket')
        .requiredOption('--line <line>', 'name of a stored line')
        .option('--speed <m/min>', 'what if it ran at this speed')
        .option(
          '--foil <reel>',
          'what if these reels were threaded: station=foil[@leftMm+widthMm][:lengthM], once a reel',
          (reel: string, all: readonly string[]) => [...all, reel],
          [],
        )
        .option('--frames <number>', 'what if the roll had so many frames')
        .option('--thickness <mm>', 'what if the web were so thick'),
    ({ withServer, output }, options) => {
      const whatIf = whatIfOf(options)
      return withServer(async (server) => {
        const target = `/lines/${encodeURIComponent(options.line)}/sums`
        const reply = await ask(server, target, { ticket: options.ticket, ...(whatIf ? { whatIf } : {}) }, output)
        output.result(reply, sumsText(reply, reply.whatIf))
        return (reply.whatIf ?? reply).blockers.length > 0 ? 1 : 0
      })
    },
  )
}
