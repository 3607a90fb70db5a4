// Commands that look at a line: its plain code readers, and what recalls came to in a run.
import type { AddCommand } from './command.ts'
import { table } from './output.ts'
import { type RecalledLabels, recalledText } from './recall-text.ts'

interface Place {
  readonly lane?: number
  readonly cell?: number
  readonly read: number
  readonly noRead: number
  readonly missing: number
  readonly late: number
  readonly doubled: number
  readonly contradicting: number
  readonly offMm: number
}

interface Readers {
  readonly readers: readonly {
    readonly line: string
    readonly port: number
    readonly connected: boolean
    readonly silentMs?: number
    readonly lines: number
    readonly garbage: number
    readonly stray: number
    readonly places: readonly Place[]
  }[]
  readonly pictureStreams: readonly {
    readonly line: string
    readonly port: number
    readonly connected: number
    readonly pictures: number
    readonly refused: number
  }[]
}

const placeText = ({ lane, cell }: Place): string =>
  cell === undefined ? (lane === undefined ? 'frame' : `lane ${lane}`) : `cell ${cell}`

const sinceText = (ms: number | undefined): string => (ms === undefined ? 'never' : `${(ms / 1000).toFixed(1)} s ago`)

/** A table by port and one by place. */
export function readersText({ readers, pictureStreams }: Readers): string {
  const ports = readers.map((row) => [
    row.line,
    row.port,
    row.connected ? 'yes' : 'no',
    sinceText(row.silentMs),
    row.lines,
    row.garbage,
    row.stray,
  ])
  const places = readers.flatMap((row) =>
    row.places.map((place) => [
      row.line,
      row.port,
      placeText(place),
      ...[place.read, place.noRead, place.missing, place.late, place.doubled, place.contradicting],
      place.offMm.toFixed(1),
    ]),
  )
  const streams = pictureStreams.map((row) => [row.line, row.port, row.connected, row.pictures, row.refused])
  const parts = [
    ...(ports.length > 0
      ? [
          table(['line', 'port', 'connected', 'last line', 'lines', 'garbage', 'stray'], ports),
          table(
            ['line', 'port', 'place', 'read', 'no-read', 'missing', 'late', 'doubled', 'contradicting', 'off mm'],
            places,
          ),
        ]
      : []),
    ...(streams.length > 0 ? [table(['line', 'port', 'cameras', 'pictures', 'refused'], streams)] : []),
  ]
  return parts.length > 0
    ? parts.join('\n\n')
    : 'No readers are configured: see readers and pictureStreams in config.json.'
}

interface Recall extends RecalledLabels {
  readonly job: string
  readonly design: string
  readonly version: number
  readonly by: string
  readonly why?: string
  readonly atMs: number
}

const recallText = (recall: Recall): string => {
  const { job, design, version, by, why, atMs } = recall
  const when = new Date(atMs).toISOString()
  return `${job} ${design} version ${version}, withdrawn by ${by} at ${when}${why ? `: ${why}` : ''}\n${recalledText(recall)}`
}

/** Adds `readers` and `recalls`. */
export function readerCommands(add: AddCommand): void {
  add(
    'readers',
    'Plain code readers: which are connected, and which of their lines were joined, late, doubled, missing, stray',
    (command) => command,
    ({ withServer, output }) =>
      withServer(async (server) => {
        const view = await server.get<Readers>('/readers')
        output.result(view, readersText(view))
        return 0
      }),
  )
  add(
    'recalls',
    'The recalls that reached a run: what was revoked, and what had passed its point of no return',
    (command) => command.argument('<run>'),
    ({ withServer, output }, _options, [runId = '']) =>
      withServer(async (server) => {
        const view = await server.get<{ recalls: readonly Recall[] }>(`/runs/${encodeURIComponent(runId)}/recalls`)
        const { recalls } = view
        output.result(view, recalls.length > 0 ? recalls.map(recallText).join('\n\n') : 'No recall reached this run.')
        return 0
      }),
  )
}
