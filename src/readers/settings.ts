// What `config.json` says of plain code readers and of streams of pictures: where each listens, how its lines look, where it stands.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'

const place = z.int().min(1).max(limits.cellsMax)
const port = z.int().min(0).max(65_535)
const lineName = z.string().min(1).max(limits.nameLengthMax)
const from = z
  .union([z.ipv4(), z.ipv6()])
  .optional()
  .meta({ description: 'The only address that may connect; must be given where Rollcall listens beyond loopback' })
const affix = z.string().min(1).max(32).optional()

const readerSchema = z
  .strictObject({
    line: lineName,
    lane: place.optional().meta({ description: 'What its lines speak for: a lane, a cell, or without both the frame' }),
    cell: place.optional(),
    port: port.meta({ description: 'Several readers may share a port: then each line goes where it is nearest' }),
    from,
    encoding: z.enum(['utf8', 'latin1']).default('utf8'),
    delimiter: z.string().min(1).max(8).optional().meta({
      description: 'Ends a line; absent: CR, LF or both. Control characters as JSON escapes, such as \\u0003',
    }),
    prefix: affix.meta({ description: 'Each line begins with it; it is taken off' }),
    suffix: affix.meta({ description: 'Each line ends with it; it is taken off' }),
    noRead: z
      .string()
      .max(limits.codeBytesMax)
      .optional()
      .meta({ description: 'The text that says that nothing was read' }),
    symbology: z.string().min(1).max(8).optional().meta({ description: 'ISO/IEC 15424 identifier of all its texts' }),
    offsetMm: z
      .number()
      .min(-100_000)
      .max(100_000)
      .default(0)
      .meta({ description: 'Travel of the web from the frame’s trigger to the moment of this reading' }),
    latencyMs: z
      .number()
      .min(0)
      .max(1_000)
      .default(0)
      .meta({ description: 'How long the reader takes from reading to sending' }),
    toleranceMm: z
      .number()
      .positive()
      .max(10_000)
      .optional()
      .meta({ description: 'How far off its place a line may come; default a third of the pitch, at most half of it' }),
  })
  .refine(({ lane, cell }) => lane === undefined || cell === undefined, 'names lane and cell; it is one of them')
  .meta({ id: 'Reader' })

export type ReaderSettings = Readonly<z.infer<typeof readerSchema>>

// What one socket sends can be cut in one way only.
const alike = ['line', 'from', 'encoding', 'delimiter', 'prefix', 'suffix', 'noRead', 'latencyMs'] as const

const clashes = (a: ReaderSettings, b: ReaderSettings): boolean =>
  a.port !== 0 && a.port === b.port && alike.some((key) => a[key] !== b[key])
const samePlace = (a: ReaderSettings, b: ReaderSettings): boolean =>
  a.line === b.line && a.lane === b.lane && a.cell === b.cell

const anyTwo = (readers: readonly ReaderSettings[], hold: (a: ReaderSettings, b: ReaderSettings) => boolean): boolean =>
  readers.some((a, i) => readers.slice(0, i).some((b) => hold(a, b)))

export const readersSchema = z
  .array(readerSchema)
  .max(256)
  .refine((readers) => !anyTwo(readers, clashes), `two readers of one port differ in ${alike.join(', ')}`)
  .refine((readers) => !anyTwo(readers, samePlace), 'two readers stand for the same place of a line')
  .meta({ description: 'Plain code readers, which send a line of text a code over TCP' })

export const pictureStreamsSchema = z
  .array(z.strictObject({ line: lineName, port, from }))
  .max(64)
  .meta({ description: 'Listeners for pictures of frames, each behind a length-prefixed JSON header' })

export type PictureStreamSettings = Readonly<z.infer<typeof pictureStreamsSchema>[number]>

export interface ReaderConfig {
  readonly readers: readonly ReaderSettings[]
  readonly pictureStreams: readonly PictureStreamSettings[]
}

/**
 * A reader shows no key, so beyond loopback each one's address must be named. Problem `config-bad` for the first without.
 */
export function demandAddresses(config: ReaderConfig, beyond: string | undefined): void {
  if (beyond === undefined) return
  for (const kind of ['readers', 'pictureStreams'] as const) {
    const at = config[kind].findIndex((row) => row.from === undefined)
    if (at < 0) continue
    throw new Problem('config-bad', `listening on ${beyond}, each of ${kind} must say which address it comes from`, {
      pointer: `/${kind}/${at}/from`,
      measured: beyond,
    })
  }
}
