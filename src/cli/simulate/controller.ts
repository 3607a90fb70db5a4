// The simulated line controller: one life of the typed client after another, with what each was told noted in one book.
import { type DueLabel, type LineClient, type LineState, openLine } from '../../client/index.ts'
import { Problem } from '../../kernel/problem.ts'
import type { Answer, FrameEvent, LaidReport } from '../../protocol/index.ts'
import type { Logbook } from './logbook.ts'
import type { Relay } from './relay.ts'
import { countIn, type Stats } from './stats.ts'
import { openWaits, type Waits } from './waits.ts'

export interface ControllerParts {
  readonly url: string
  readonly key: string | undefined
  readonly runId: string
  readonly relay: Relay | undefined
  readonly book: Logbook
  readonly stats: Stats
  readonly cellCount: number
  readonly ordinalOf: (cell: number) => number
  /** The encoder now, for margins. */
  readonly positionMm: () => number
  readonly onDue: (due: DueLabel) => void
}

export interface Controller extends Pick<Waits, 'until'> {
  readonly alive: boolean
  /** `stop` was answered, or the run is stopped; until it is attended to. */
  readonly stopAsked: boolean
  /** Set-up answers came after others: proving is asked for again. */
  readonly provingAsked: boolean
  /** Frames sent and neither answered nor refused. */
  readonly outstanding: number
  readonly state: LineState | undefined
  /** Why the line ended for good, where it did. */
  readonly ended: string | undefined
  /** Why the last connection was lost, or was not to be had. */
  readonly lastReason: string
  send(event: FrameEvent): void
  isSettled(frame: number): boolean
  report(reports: readonly LaidReport[]): void
  moveTo(mm: number): void
  /** Frames under way are waited for no longer. */
  giveUp(): void
  attended(): void
  /** Cuts the connection; the client comes back by itself. */
  cut(): void
  /** Gone without a word, with all that it knew. */
  die(): void
  /** Another controller of that name takes the run up; it sends again what still lies before the head. */
  revive(frames: readonly FrameEvent[]): void
  close(): Promise<void>
}

const controllerName = 'simulator'
/** States in which a run takes no frames any more. */
const over: ReadonlySet<LineState['state']> = new Set(['closing', 'sealed', 'aborted'])

class SimulatedController implements Controller {
  private readonly parts: ControllerParts
  private readonly waits = openWaits()
  private client: LineClient | undefined
  private readonly sentAtMs = new Map<number, number>()
  /** Of the last answer on this connection: they come in the order of the ledger. */
  private lastIndex = -1
  private sawProper = false
  stopAsked = false
  provingAsked = false
  ended: string | undefined
  lastReason = 'no connection was made'

  constructor(parts: ControllerParts) {
    this.parts = parts
    this.client = this.open()
  }

  get alive(): boolean {
    return this.client !== undefined
  }

  get outstanding(): number {
    return this.sentAtMs.size
  }

  get state(): LineState | undefined {
    return this.client?.state
  }

  until(condition: () => boolean, withinMs: number): Promise<boolean> {
    return this.waits.until(condition, withinMs)
  }

  private open(): LineClient {
    const { url, key, runId, relay, stats } = this.parts
    const client = openLine({
      url: relay?.url ?? url,
      runId,
      controller: controllerName,
      ...(key === undefined ? {} : { key }),
    })
    client.onAnswer((answer) => this.take(answer))
    client.onRevocation(() => {
      stats.revocations += 1
    })
    client.onState(({ state }) => {
      if (state === 'stopped') this.stopAsked = true
      if (over.has(state)) this.ended = `the run is ${state}`
      this.waits.poke()
    })
    client.onConnection((status) => {
      const { state } = status
      stats.connection = state
      if (state === 'away' || state === 'ended') this.lastReason = status.reason
      if (state === 'ended' && status.because !== 'closed') this.ended = status.reason
      if (state === 'open') {
        stats.connections += 1
        this.lastIndex = -1
      }
      this.waits.poke()
    })
    client.onDue((due) => {
      if (this.client === client) this.parts.onDue(due)
    })
    return client
  }

  private take(answer: Answer): void {
    const { book, stats, cellCount, ordinalOf, positionMm } = this.parts
    const { frame, cell, ledgerIndex, noReturnMm } = answer
    if (!book.received(frame, ordinalOf(cell), ledgerIndex) || ledgerIndex <= this.lastIndex) stats.doubledAnswers += 1
    this.lastIndex = Math.max(this.lastIndex, ledgerIndex)
    const sentMs = this.sentAtMs.get(frame)
    // What is told again to a controller that came back was counted before.
    if (sentMs !== undefined) {
      this.count(answer)
      const marginMm = noReturnMm - positionMm()
      stats.marginMm.add(marginMm)
      if (marginMm < 0) stats.lateAnswers += 1
      if (book.answered(frame) === cellCount) {
        stats.latencyMs.add(performance.now() - sentMs)
        this.sentAtMs.delete(frame)
      }
    }
    this.waits.poke()
  }

  private count({ decision, flags, setup }: Answer): void {
    const { stats } = this.parts
    stats.decisions[decision] += 1
    for (const flag of flags) countIn(stats.flags, flag)
    if (decision === 'stop') this.stopAsked = true
    if (setup && this.sawProper) this.provingAsked = true
    if (!setup) this.sawProper = true
  }

  send(event: FrameEvent): void {
    const { book, stats } = this.parts
    const { frame } = event
    if (!this.client) return
    const isFirst = book.frameState(frame) === 'unsent'
    if (isFirst) {
      book.setFrame(frame, 'sent')
      stats.framesSent += 1
      this.sentAtMs.set(frame, performance.now())
    }
    this.client.frames(event).then(
      () => book.setFrame(frame, 'accepted'),
      (error) => this.refused(frame, error),
    )
  }

  private refused(frame: number, error: unknown): void {
    const { book, stats } = this.parts
    if (!(error instanceof Problem)) throw error
    // A client that was closed gives up what it had; that says nothing of the frame.
    if (error.code === 'line-closed') return
    countIn(stats.refusals, error.code)
    if (book.frameState(frame) === 'sent') {
      book.setFrame(frame, 'refused')
      this.sentAtMs.delete(frame)
    }
    this.waits.poke()
  }

  isSettled(frame: number): boolean {
    return !this.sentAtMs.has(frame)
  }

  report(reports: readonly LaidReport[]): void {
    const { stats } = this.parts
    if (!this.client || reports.length === 0) return
    for (const { laid } of reports) stats.laid[laid] += 1
    this.client.laid(reports).then(
      () => this.waits.poke(),
      (error) => {
        if (error instanceof Problem && error.code !== 'line-closed') countIn(stats.refusals, error.code)
        this.waits.poke()
      },
    )
  }

  get reportsWaiting(): number {
    return this.client?.waiting.reports ?? 0
  }

  moveTo(mm: number): void {
    this.client?.position(mm)
  }

  giveUp(): void {
    this.sentAtMs.clear()
  }

  attended(): void {
    this.stopAsked = false
    this.provingAsked = false
    this.sawProper = false
  }

  cut(): void {
    this.parts.relay?.cut()
  }

  die(): void {
    this.cut()
    const { client } = this
    this.client = undefined
    this.parts.stats.connection = 'ended'
    // What was under way may have arrived or not; the one that comes back will hear of it.
    this.sentAtMs.clear()
    client?.close().catch(() => undefined)
  }

  revive(frames: readonly FrameEvent[]): void {
    this.client = this.open()
    for (const event of frames) this.send(event)
  }

  async close(): Promise<void> {
    await this.until(() => this.reportsWaiting === 0, 10_000)
    await this.client?.close()
  }
}

/** Opens a controller on a run and begins to connect. */
export const openController = (parts: ControllerParts): Controller => new SimulatedController(parts)
