// One controller's connection to a run, from its hello to its end: takes its messages in order, tells it what the run answers, and watches
// that it reads and is heard of.
import type { Logger } from 'pino'
import type { RawData, WebSocket } from 'ws'
import type { Clock } from '../kernel/clock.ts'
import { limits } from '../kernel/limits.ts'
import { Problem, problemTable, toProblemDetails } from '../kernel/problem.ts'
import { type ControllerMessage, closeCodes, protocolVersion, type RollcallMessage } from '../protocol/index.ts'
import type { StartTimer } from '../queue/index.ts'
import { type FeedPage, followRun, openOutlook, type Run, type RunFeed, type Runs } from '../runs/index.ts'
import { readMessage } from './line-socket-messages.ts'
import { type Outbox, openOutbox } from './line-socket-outbox.ts'
import type { Seated, Seats } from './line-socket-seats.ts'
import { outlookOf, stateOf, welcomeTo, windowOf } from './line-socket-told.ts'
import type { Metrics } from './metrics.ts'
import { asProblem } from './mount.ts'

export interface SessionParts {
  readonly runs: Pick<Runs, 'get' | 'expected'>
  readonly seats: Seats
  readonly clock: Clock
  readonly startTimer: StartTimer
  readonly metrics: Metrics
  readonly log: Logger
}

/** Who was let in, and to what. */
export interface Entrant {
  readonly runId: string
  /** Asked again and again: a key may expire or be revoked. */
  readonly refused: () => Problem | undefined
}

type Of<Type extends ControllerMessage['type']> = Extract<ControllerMessage, { type: Type }>

interface Opened {
  readonly run: Run
  readonly feed: RunFeed
  readonly unfollow: () => void
  readonly heartbeatMs: number
  readonly framesWindow: Window
  readonly laidWindow: Window
}

/** Of what was sent and is not accepted yet. */
interface Window {
  readonly max: number
  waiting: number
}

/** By default both sides are heard of so often. */
const heartbeatMsDefault = 1_000
/** Heartbeats that may be missed. */
const silentBeats = 3
const helloMsMax = 5_000
/** From saying that it is over to cutting the connection. */
const farewellMs = 2_000

/** The code that a connection is closed with after a problem was told. */
const closeCodeOf = ({ code }: Problem): number => 4_000 + problemTable[code].status

export class LineSession implements Seated {
  controller = ''
  readonly #parts: SessionParts
  readonly #socket: WebSocket
  readonly #entrant: Entrant
  readonly #outbox: Outbox
  readonly #begunMs: number
  #opened: Opened | undefined
  /** What came right behind the hello, while the run is fetched. */
  #early: [RawData, boolean][] | undefined
  #isOver = false
  #heardMs: number
  #beatMs = 0
  #unreadable = 0
  #shown = 0
  #outlook: ReturnType<typeof openOutlook> | undefined
  /** The ticket that it is on. */
  #ticket: Run['state']['ticket'] | undefined
  #stopTimer: () => void = () => undefined

  constructor(parts: SessionParts, socket: WebSocket, entrant: Entrant) {
    this.#parts = parts
    this.#socket = socket
    this.#entrant = entrant
    this.#begunMs = parts.clock.monotonicMs()
    this.#heardMs = this.#begunMs
    this.#outbox = openOutbox({
      socket,
      clock: parts.clock,
      onSent: (type) => parts.metrics.lineMessage('out', type),
      onFull: () => this.#end(closeCodes.slow, 'slow'),
    })
    socket.on('message', (data, isBinary) => this.#received(data, isBinary))
    socket.on('close', () => this.#left())
    // A message over the limit, a broken frame: ws closes the connection with the code of RFC 6455 for it.
    socket.on('error', () => undefined)
    this.#watch()
  }

  isSilent(): boolean {
    return this.#sinceMs(this.#heardMs) >= this.#silenceMs
  }

  vacate(why: 'silent' | 'replaced'): void {
    this.#end(closeCodes[why], why)
  }

  /** Ends the session with a problem. */
  refuse(problem: Problem): void {
    this.#say(problem)
    this.#end(closeCodeOf(problem), problem.code)
  }

  get #silenceMs(): number {
    return silentBeats * (this.#opened?.heartbeatMs ?? heartbeatMsDefault)
  }

  #sinceMs(ms: number): number {
    return this.#parts.clock.monotonicMs() - ms
  }

  #say(problem: Problem, seq?: number): void {
    const details = toProblemDetails(problem)
    this.#outbox.send({ type: 'problem', ...(seq === undefined ? {} : { seq }), problem: { ...details } })
  }

  #received(data: RawData, isBinary: boolean): void {
    if (this.#isOver) return
    this.#heardMs = this.#parts.clock.monotonicMs()
    if (this.#early) {
      this.#early.push([data, isBinary])
      return
    }
    const refused = this.#entrant.refused()
    if (refused) {
      this.refuse(refused)
      return
    }
    const read = readMessage(data, isBinary)
    this.#parts.metrics.lineMessage('in', read.ok ? read.message.type : 'unreadable')
    if (read.ok) this.#take(read.message)
    else this.#garbage(read.problem, read.seq)
  }

  #garbage(problem: Problem, seq?: number): void {
    this.#say(problem, seq)
    if (!this.#opened) this.#end(closeCodes.badHello, problem.code)
    else if (++this.#unreadable >= limits.lineUnreadableMax) this.#end(closeCodes.garbage, 'garbage')
  }

  #take(message: ControllerMessage): void {
    const { type } = message
    if (type !== 'hello') this.#unreadable = 0
    if (type === 'bye') this.#end(1_000, 'bye')
    else if (type === 'hello' && this.#opened)
      this.#garbage(new Problem('bad-request', 'hello was said', { pointer: '/type' }))
    else if (type === 'hello') this.#hello(message)
    else if (!this.#opened)
      this.refuse(new Problem('bad-request', 'the first message is hello', { pointer: '/type', measured: type }))
    else if (type === 'frames') this.#frames(message, this.#opened)
    else if (type === 'laid') this.#laid(message, this.#opened)
    else if (message.positionMm !== undefined) this.#encoder(message.positionMm, this.#opened)
  }

  #hello(hello: Of<'hello'>): void {
    const early: [RawData, boolean][] = []
    this.#early = early
    // Pausing leaves what was read already.
    this.#socket.pause()
    const opened = this.#open(hello).finally(() => {
      this.#early = undefined
      this.#socket.resume()
    })
    opened.then(
      () => {
        for (const [data, isBinary] of early) this.#received(data, isBinary)
      },
      (error) => {
        if (!(error instanceof Problem)) this.#parts.log.error({ err: error }, 'a line cannot be connected')
        this.refuse(asProblem(error))
      },
    )
  }

  async #open(hello: Of<'hello'>): Promise<void> {
    if (hello.protocol !== protocolVersion)
      throw new Problem('bad-request', `this speaks version ${protocolVersion} of the protocol`, {
        pointer: '/protocol',
        measured: hello.protocol,
        limit: protocolVersion,
      })
    const run = await this.#parts.runs.get(this.#entrant.runId)
    if (this.#isOver) return
    const last = run.durableSize - 1
    if (hello.after > last)
      throw new Problem('bad-request', `run ${run.runId} has no entry ${hello.after}: the cursor is of another run`, {
        pointer: '/after',
        measured: hello.after,
        limit: last,
      })
    this.controller = hello.controller
    this.#parts.seats.take(run.runId, this)
    const heartbeatMs = hello.heartbeatMs ?? heartbeatMsDefault
    const windowFrames = windowOf(run)
    const silenceMs = silentBeats * heartbeatMs
    this.#shown = run.shown.revision
    this.#outbox.send(welcomeTo(run, { heartbeatMs, silenceMs, windowFrames, atMs: this.#parts.clock.nowMs() }))
    const { feed, unfollow } = this.#follow(run, hello.after)
    const framesWindow = { max: windowFrames, waiting: 0 }
    const laidWindow = { max: limits.lineLaidWaitingMax, waiting: 0 }
    this.#opened = { run, feed, unfollow, heartbeatMs, framesWindow, laidWindow }
    this.#beatMs = this.#parts.clock.monotonicMs()
    this.#lookOut(run)
    this.#parts.metrics.lineConnected(1)
    this.#watch()
  }

  // The feed follows first, so that the answers of a commit come before the stop that they ask for.
  #follow(run: Run, after: number): Pick<Opened, 'feed' | 'unfollow'> {
    const feed = followRun(run, {
      after,
      take: (page) => this.#tell(page),
      room: () => this.#outbox.room(),
      ended: (problem) => this.refuse(problem),
    })
    return { feed, unfollow: run.follow({ written: () => this.#tellState(run), failed: () => undefined }) }
  }

  #tell({ answers, revocations, cursor }: FeedPage): void {
    if (answers.length === 0 && revocations.length === 0) return
    this.#outbox.send({ type: 'answers', cursor, answers: [...answers], revocations: [...revocations] })
    const outlook = this.#outlook?.(answers)
    if (outlook) this.#outbox.send(outlookOf(outlook))
  }

  #tellState(run: Run): void {
    const { revision } = run.shown
    if (revision === this.#shown) return
    this.#shown = revision
    this.#outbox.send(stateOf(run))
    this.#lookOut(run)
  }

  // A long sequence takes seconds to read; the line runs on without.
  #lookOut(run: Run): void {
    const { ticket } = run.state
    if (this.#ticket === ticket) return
    this.#ticket = ticket
    this.#outlook = undefined
    this.#parts.runs.expected(run.state).then(
      (expected) => {
        if (expected && run.state.ticket === ticket) this.#outlook = openOutlook(run, expected)
      },
      (error) => this.#parts.log.warn({ err: error, runId: run.runId }, 'a sequence cannot be read for outlooks'),
    )
  }

  #frames({ seq, frames }: Of<'frames'>, { run, framesWindow }: Opened): void {
    const startedMs = this.#parts.clock.monotonicMs()
    this.#perform({ seq, count: frames.length, window: framesWindow }, async () => {
      const { accepted, pending } = await run.takeFrames(frames)
      this.#parts.metrics.lineAnswered(this.#sinceMs(startedMs))
      return { type: 'accepted', seq, accepted, ...(pending.length > 0 ? { pending: [...pending] } : {}) }
    })
  }

  // What passes its point of no return between two marks is answered without waiting for its reads any longer.
  #encoder(positionMm: number, { run }: Opened): void {
    run.noteEncoder(positionMm).catch((error) => {
      if (!(error instanceof Problem)) this.#parts.log.error({ err: error }, 'an encoder position failed')
    })
  }

  #laid({ seq, reports }: Of<'laid'>, { run, laidWindow }: Opened): void {
    this.#perform({ seq, count: reports.length, window: laidWindow }, async () => {
      const { accepted } = await run.laid(reports)
      return { type: 'accepted', seq, accepted }
    })
  }

  /** Does what a message asks for and sends the reply; or refuses it where too much would wait for its reply. */
  #perform(
    { seq, count, window }: { seq: number; count: number; window: Window },
    work: () => Promise<RollcallMessage>,
  ): void {
    const waiting = window.waiting + count
    if (waiting > window.max) {
      const detail = `${waiting} would wait to be accepted; send again when fewer do`
      this.#say(new Problem('window-exceeded', detail, { measured: waiting, limit: window.max }), seq)
      return
    }
    window.waiting = waiting
    const done = work().finally(() => {
      window.waiting -= count
    })
    done.then(
      (reply) => this.#outbox.send(reply),
      (error) => this.#refused(error, seq),
    )
  }

  #refused(error: unknown, seq: number): void {
    if (!(error instanceof Problem)) this.#parts.log.error({ err: error }, 'a message of a controller failed')
    this.#say(asProblem(error), seq)
  }

  /** Sets the one timer to the next moment at which something is to be done. */
  #watch(): void {
    if (this.#isOver) return
    this.#stopTimer()
    const nowMs = this.#parts.clock.monotonicMs()
    const dueMs = this.#opened
      ? Math.min(this.#beatMs + this.#opened.heartbeatMs, this.#heardMs + this.#silenceMs)
      : this.#begunMs + helloMsMax
    this.#stopTimer = this.#parts.startTimer(() => this.#ring(), Math.max(1, dueMs - nowMs))
  }

  #ring(): void {
    const refused = this.#entrant.refused()
    if (refused) this.refuse(refused)
    else if (!this.#opened) {
      if (this.#sinceMs(this.#begunMs) >= helloMsMax) this.#end(closeCodes.badHello, 'no hello')
    } else if (this.isSilent()) this.#end(closeCodes.silent, 'silent')
    else if (this.#outbox.stuckMs() >= this.#silenceMs) this.#end(closeCodes.slow, 'slow')
    else if (this.#sinceMs(this.#beatMs) >= this.#opened.heartbeatMs) this.#beat(this.#opened)
    this.#watch()
  }

  #beat({ feed }: Opened): void {
    this.#beatMs = this.#parts.clock.monotonicMs()
    this.#outbox.send({ type: 'heartbeat', atMs: this.#parts.clock.nowMs(), cursor: feed.cursor })
  }

  #end(code: number, reason: string): void {
    if (this.#isOver) return
    this.#left()
    this.#socket.close(code, reason)
    this.#stopTimer = this.#parts.startTimer(() => this.#socket.terminate(), farewellMs)
  }

  #left(): void {
    this.#stopTimer()
    if (this.#isOver) return
    this.#isOver = true
    if (!this.#opened) return
    const { run, feed, unfollow } = this.#opened
    feed.stop()
    unfollow()
    this.#parts.seats.leave(run.runId, this)
    this.#parts.metrics.lineConnected(-1)
  }
}
