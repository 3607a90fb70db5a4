// What is shown of plain code readers and streams of pictures, and their metrics.
import { Counter, Gauge, type Registry } from 'prom-client'
import * as z from 'zod'

const rising = z.int().min(0)

const placeSchema = z.object({
  lane: z.int().optional(),
  cell: z.int().optional(),
  offsetMm: z.number(),
  toleranceMm: z.number().optional(),
  read: rising.meta({ description: 'Codes that were joined to their frames' }),
  noRead: rising.meta({ description: 'The reader itself said that it read nothing' }),
  missing: rising.meta({ description: 'Frames for which no line came in time' }),
  late: rising.meta({ description: 'Lines for a frame that was given up before' }),
  doubled: rising.meta({ description: 'Second lines for one frame' }),
  contradicting: rising.meta({ description: 'Second lines that say something else: the label is skipped' }),
  offMm: z
    .number()
    .meta({ description: 'How far from their place the last lines came, with sign: near 0, or the offset is wrong' }),
  offMmMax: z.number(),
})

export const readersViewSchema = z
  .object({
    readers: z.array(
      z.object({
        line: z.string(),
        port: z.int(),
        connected: z.boolean(),
        silentMs: z.int().optional().meta({ description: 'Since the last line; absent before the first' }),
        lines: rising,
        garbage: rising.meta({ description: 'Lines that are no text of the form that is configured' }),
        stray: rising.meta({ description: 'Lines that belong to no frame that awaited them' }),
        connections: rising,
        replaced: rising.meta({ description: 'Connections that a later one took the place of' }),
        refused: rising.meta({ description: 'Connections from another address than the one stated' }),
        places: z.array(placeSchema),
      }),
    ),
    pictureStreams: z.array(
      z.object({
        line: z.string(),
        port: z.int(),
        connected: rising,
        pictures: rising,
        refused: rising,
        connections: rising,
      }),
    ),
  })
  .meta({ id: 'Readers' })

export type ReadersView = z.infer<typeof readersViewSchema>

type PortRow = Pick<ReadersView['readers'][number], 'places'> & Record<string, unknown>
const ofPort = ['garbage', 'stray'] as const
const ofPlaces = ['read', 'noRead', 'missing', 'late', 'doubled', 'contradicting'] as const

const sumOf = ({ places }: PortRow, key: (typeof ofPlaces)[number]): number =>
  places.reduce((sum, place) => sum + place[key], 0)

/** Takes the counters over at each scrape: the readers themselves count. Labels are bounded by the configuration. */
export function openReaderMetrics(registers: Registry[], view: () => ReadersView): void {
  new Gauge({
    name: 'rollcall_reader_connected',
    help: 'Whether a reader is connected, by line and port',
    labelNames: ['line', 'port'],
    registers,
    collect() {
      for (const { line, port, connected } of view().readers) this.set({ line, port }, connected ? 1 : 0)
    },
  })
  new Counter({
    name: 'rollcall_reader_lines_total',
    help: 'Lines of readers, and those that never came, by line, port and what became of them',
    labelNames: ['line', 'port', 'outcome'],
    registers,
    collect() {
      this.reset()
      for (const row of view().readers) {
        const { line, port } = row
        for (const outcome of ofPort) this.inc({ line, port, outcome }, row[outcome])
        for (const outcome of ofPlaces) this.inc({ line, port, outcome }, sumOf(row, outcome))
      }
    },
  })
  new Counter({
    name: 'rollcall_streamed_pictures_total',
    help: 'Pictures that came over sockets, by line and whether they were taken',
    labelNames: ['line', 'outcome'],
    registers,
    collect() {
      this.reset()
      for (const { line, pictures, refused } of view().pictureStreams) {
        this.inc({ line, outcome: 'taken' }, pictures)
        this.inc({ line, outcome: 'refused' }, refused)
      }
    },
  })
}
