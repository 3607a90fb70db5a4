// The readers of all lines: their ports, and the track that joins what they send to the frames of the run on their line.
import type { Server } from 'node:net'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import { type AwaitedReads, type AwaitingRun, type Captures, type Run, toUm } from '../runs/index.ts'
import { openPicturePort, type PictureTally } from './picture-port.ts'
import { demandAddresses, type PictureStreamSettings, type ReaderConfig, type ReaderSettings } from './settings.ts'
import type { StampError } from './stamp-error.ts'
import { openPlaceTally, openPortTally, type PlaceTally, type PortTally } from './tallies.ts'
import { openTextPort } from './text-port.ts'
import { type Spot, Track } from './track.ts'

/** What is known of the readers of one port. */
export interface ReaderView extends PortTally {
  readonly line: string
  readonly port: number
  readonly connected: boolean
  /** Since its last line; absent before the first. */
  readonly silentMs?: number
  readonly places: (PlaceTally & {
    readonly lane?: number
    readonly cell?: number
    readonly offsetMm: number
    readonly toleranceMm?: number
  })[]
}

export interface PictureStreamView extends PictureTally {
  readonly line: string
  readonly port: number
  readonly connected: number
}

export interface ReadersView {
  readonly readers: ReaderView[]
  readonly pictureStreams: PictureStreamView[]
}

export interface Readers {
  /** To be given to the runs. */
  readonly awaited: AwaitedReads
  view(): ReadersView
  /** Begins to listen. Problem `port-in-use`, naming the port. */
  listen(to: PicturesTo): Promise<void>
  close(): Promise<void>
}

/** Where pictures go. */
interface PicturesTo {
  readonly runOn: (line: string) => Promise<Run | undefined>
  readonly captures: Captures
}

interface Parts {
  readonly config: ReaderConfig
  readonly host: string
  /** An address beyond loopback that is listened on; absent: none. */
  readonly beyond?: string | undefined
  readonly clock: Clock
  readonly stamps: StampError
  readonly report: (error: unknown) => void
}

interface Desk {
  readonly settings: ReaderSettings
  readonly tally: PortTally
  readonly spots: readonly (Spot & { readonly settings: ReaderSettings })[]
  lastLineMs?: number
  opened?: ReturnType<typeof openTextPort>
}

const spotOf = (settings: ReaderSettings, port: object): Spot & { settings: ReaderSettings } => ({
  settings,
  lane: settings.lane,
  cell: settings.cell,
  symbology: settings.symbology,
  offsetUm: toUm(settings.offsetMm),
  toleranceUm: settings.toleranceMm === undefined ? undefined : toUm(settings.toleranceMm),
  tally: openPlaceTally(),
  port,
})

// Readers of one port share it; each that asks for any free port has its own.
function desksOf(readers: readonly ReaderSettings[]): readonly Desk[] {
  const byPort = new Map<number | ReaderSettings, ReaderSettings[]>()
  for (const reader of readers) {
    const key = reader.port === 0 ? reader : reader.port
    byPort.set(key, [...(byPort.get(key) ?? []), reader])
  }
  return [...byPort.values()].flatMap((rows) => {
    const [settings] = rows
    const tally = openPortTally()
    return settings ? [{ settings, tally, spots: rows.map((row) => spotOf(row, tally)) }] : []
  })
}

async function listenOn(server: Server, { host, port }: { host: string; port: number }): Promise<void> {
  await new Promise<void>((resolve, reject) => {
    server.once('error', (error: NodeJS.ErrnoException) => {
      const isTaken = error.code === 'EADDRINUSE' || error.code === 'EACCES'
      reject(
        isTaken ? new Problem('port-in-use', `cannot listen for readers: ${error.message}`, { measured: port }) : error,
      )
    })
    server.listen(port, host, resolve)
  })
}

const portOf = (server: Server | undefined, configured: number): number => {
  const address = server?.address()
  return address && typeof address === 'object' ? address.port : configured
}

// One run a line: the one whose frames came last.
function openTracks(desks: readonly Desk[], { clock, stamps }: Parts) {
  const spots = new Map<string, Spot[]>()
  for (const { settings, spots: own } of desks) {
    spots.set(settings.line, [...(spots.get(settings.line) ?? []), ...own])
  }
  const tracks = new Map<string, Track>()
  const trackOf = (run: AwaitingRun): Track | undefined => {
    const { line } = run.state.line
    const known = tracks.get(line)
    const configured = spots.get(line)
    if (!configured) return undefined
    if (known?.runId === run.runId) {
      known.follow(run)
      return known
    }
    const track = new Track(run, configured)
    tracks.set(line, track)
    return track
  }
  const awaited: AwaitedReads = {
    awaits: (run, event) => trackOf(run)?.awaits(event.frame, toUm(event.positionMm), event.reads) ?? false,
    moved: (run, positionUm) =>
      trackOf(run)?.moved({ positionUm, atMs: clock.monotonicMs(), withinMs: stamps.nowMs() }),
    settle: (run) => trackOf(run)?.settle(),
  }
  const take = (desk: Desk, text: string | undefined): void => {
    const nowMs = clock.monotonicMs()
    desk.lastLineMs = nowMs
    const track = tracks.get(desk.settings.line)
    if (!track) {
      desk.tally.stray++
      return
    }
    const atMs = nowMs - desk.settings.latencyMs
    const said = text === undefined ? {} : { text }
    track.line({ port: desk.tally, tally: desk.tally, atMs, withinMs: stamps.nowMs(), ...said })
  }
  return { awaited, take }
}

interface PictureDesk {
  readonly settings: PictureStreamSettings
  readonly tally: PictureTally
  opened?: ReturnType<typeof openPicturePort>
}

const viewOf = (desk: Desk, nowMs: number): ReaderView => ({
  line: desk.settings.line,
  port: portOf(desk.opened?.server, desk.settings.port),
  connected: desk.opened?.connected() ?? false,
  ...desk.tally,
  ...(desk.lastLineMs === undefined ? {} : { silentMs: Math.round(nowMs - desk.lastLineMs) }),
  places: desk.spots.map(({ settings: { lane, cell, offsetMm, toleranceMm }, tally }) => ({
    ...(lane === undefined ? {} : { lane }),
    ...(cell === undefined ? {} : { cell }),
    offsetMm,
    ...(toleranceMm === undefined ? {} : { toleranceMm }),
    ...tally,
  })),
})

const postTo =
  ({ runOn, captures }: PicturesTo, line: string): Parameters<typeof openPicturePort>[0]['post'] =>
  async ({ frame, positionMm, mediaType, picture }) => {
    const run = await runOn(line)
    if (!run) throw new Problem('run-not-found', `no run on ${line} takes frames now`)
    return captures.post(run, { frame, positionUm: toUm(positionMm), bytes: picture, mediaType })
  }

/** The readers that are configured; nothing listens until `listen`. Problem `config-bad` where one's address must be stated. */
export function openReaders(parts: Parts): Readers {
  const { config, host, clock, report } = parts
  demandAddresses(config, parts.beyond)
  const desks = desksOf(config.readers)
  const cameras: PictureDesk[] = config.pictureStreams.map((settings) => ({
    settings,
    tally: { pictures: 0, refused: 0, connections: 0 },
  }))
  const { awaited, take } = openTracks(desks, parts)
  const close = async (): Promise<void> => {
    await Promise.all([...desks, ...cameras].map(({ opened }) => opened?.close()))
    parts.stamps.close()
  }
  return {
    awaited,
    view: () => ({
      readers: desks.map((desk) => viewOf(desk, clock.monotonicMs())),
      pictureStreams: cameras.map(({ settings, tally, opened }) => ({
        line: settings.line,
        port: portOf(opened?.server, settings.port),
        connected: opened?.connected() ?? 0,
        ...tally,
      })),
    }),
    async listen(to) {
      for (const desk of desks) {
        const { settings, tally } = desk
        desk.opened = openTextPort({ form: settings, from: settings.from, tally, line: (text) => take(desk, text) })
        await listenOn(desk.opened.server, { host, port: settings.port })
      }
      for (const camera of cameras) {
        const { settings, tally } = camera
        camera.opened = openPicturePort({ from: settings.from, tally, post: postTo(to, settings.line), report })
        await listenOn(camera.opened.server, { host, port: settings.port })
      }
    },
    close,
  }
}
