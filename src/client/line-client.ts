// The client of a run's line: what a controller is written on. Sends frames and laid reports until they are accepted, keeps the answers,
// and says at each label's point of no return whether it is laid.
import type * as z from 'zod'
import { Problem, problemTable } from '../kernel/problem.ts'
import {
  type Answer,
  type FrameEvent,
  frameEventSchema,
  type LaidReport,
  laidReportSchema,
  positionMm,
  protocolVersion,
  type Revocation,
  type RollcallMessage,
} from '../protocol/index.ts'
import { AnswerBook } from './answer-book.ts'
import { systemLineClock } from './clock.ts'
import { Connection, type ConnectionStatus } from './connection.ts'
import type { LineClient, LineOptions, LineProblem, LineState, Outlook, Welcome } from './contract.ts'
import type { DueLabel } from './label.ts'
import { Listeners } from './listeners.ts'
import { type Accepted, Outbox } from './outbox.ts'
import { checked } from './sending.ts'
import { openSocket } from './socket.ts'

type Of<Type extends RollcallMessage['type']> = Extract<RollcallMessage, { readonly type: Type }>

const forgetAfterMmDefault = 20_000
const labelsMaxDefault = 100_000
const waitingMaxDefault = 20_000

class Line implements LineClient {
  private readonly options: LineOptions
  private readonly line: Connection
  private readonly outbox: Outbox
  private readonly book: AnswerBook
  private readonly told = {
    answer: new Listeners<Answer>(),
    revocation: new Listeners<Revocation>(),
    state: new Listeners<LineState>(),
    outlook: new Listeners<Outlook>(),
    problem: new Listeners<LineProblem>(),
    connection: new Listeners<ConnectionStatus>(),
    due: new Listeners<DueLabel>(),
  }
  private received: { cursor: number; state?: LineState; welcome?: Welcome }
  private lastMm: number | undefined
  /** `position` was called: frames' positions, which lag behind it, no longer stand in. */
  private hasEncoder = false

  readonly onAnswer: LineClient['onAnswer'] = (listener) => this.told.answer.add(listener)
  readonly onRevocation: LineClient['onRevocation'] = (listener) => this.told.revocation.add(listener)
  readonly onState: LineClient['onState'] = (listener) => this.told.state.add(listener)
  readonly onOutlook: LineClient['onOutlook'] = (listener) => this.told.outlook.add(listener)
  readonly onProblem: LineClient['onProblem'] = (listener) => this.told.problem.add(listener)
  readonly onConnection: LineClient['onConnection'] = (listener) => this.told.connection.add(listener)
  readonly onDue: LineClient['onDue'] = (listener) => this.told.due.add(listener)

  constructor(options: LineOptions) {
    this.options = options
    this.received = { cursor: options.after ?? -1 }
    const { forgetAfterMm = forgetAfterMmDefault, labelsMax = labelsMaxDefault, overrunMmMax } = options
    const { framesMax = waitingMaxDefault, reportsMax = waitingMaxDefault } = options
    this.book = new AnswerBook({
      forgetAfterMm,
      labelsMax,
      ...(overrunMmMax === undefined ? {} : { overrunMmMax }),
      onDue: (due) => this.told.due.tell(due),
    })
    this.outbox = new Outbox({ framesMax, reportsMax, send: (message) => this.line.send(message) })
    this.line = this.connect(options)
    this.line.start()
  }

  get connection(): ConnectionStatus {
    return this.line.status
  }

  get welcome(): Welcome | undefined {
    return this.received.welcome
  }

  get state(): LineState | undefined {
    return this.received.state
  }

  get cursor(): number {
    return this.received.cursor
  }

  get waiting(): LineClient['waiting'] {
    return this.outbox.counts
  }

  frames(given: FrameEvent | readonly FrameEvent[]): Promise<Accepted> {
    return this.give(() => {
      const events = this.checked(frameEventSchema, given)
      for (const event of events) {
        if (!this.hasEncoder) this.moveTo(event.positionMm)
        this.book.expect(event)
      }
      return this.outbox.frames(events)
    })
  }

  laid(given: LaidReport | readonly LaidReport[]): Promise<Accepted> {
    return this.give(() => this.outbox.laid(this.checked(laidReportSchema, given)))
  }

  position(mm: number): void {
    this.hasEncoder = true
    const [position = 0] = checked(positionMm, mm)
    this.moveTo(position)
  }

  rethreaded(): void {
    this.book.giveUp()
    this.lastMm = undefined
  }

  decide(frame: number, cell: number, positionMm?: number): Answer | 'skip' {
    return this.book.decide(frame, cell, positionMm)
  }

  async close(): Promise<void> {
    const closed = this.line.close()
    this.outbox.end(new Problem('line-closed', 'the client was closed'))
    await closed
  }

  private connect({ clock = systemLineClock, random = Math.random, ...options }: LineOptions): Connection {
    const { url, runId, key, controller, heartbeatMs } = options
    const beats = heartbeatMs === undefined ? {} : { heartbeatMs }
    const atMs = (): number => Math.round(clock.nowMs())
    const near = (): { positionMm?: number } => (this.lastMm === undefined ? {} : { positionMm: this.lastMm })
    return new Connection({
      clock,
      random,
      open: () => openSocket({ url, runId, ...(key === undefined ? {} : { key }) }, options.WebSocket),
      hello: () => ({
        type: 'hello',
        protocol: protocolVersion,
        controller,
        after: this.cursor,
        ...beats,
        atMs: atMs(),
      }),
      heartbeat: () => ({ type: 'heartbeat', atMs: atMs(), ...near() }),
      onWelcome: (welcome) => this.begin(welcome),
      onMessage: (message) => this.hear(message),
      onUnfit: ({ detail, mayRevoke }) => {
        if (mayRevoke) this.book.doubt()
        this.told.problem.tell({ kind: 'unfit', detail })
      },
      onStatus: (status) => this.became(status),
      isOver: () => this.state?.state === 'sealed' || this.state?.state === 'aborted',
    })
  }

  private became(status: ConnectionStatus): void {
    if (status.state === 'away') this.outbox.cut()
    if (status.state === 'ended') this.outbox.end(new Problem('line-closed', `${status.because}: ${status.reason}`))
    this.told.connection.tell(status)
  }

  private begin(welcome: Welcome): void {
    this.received.welcome = welcome
    this.book.begin(welcome)
    this.enter({ state: welcome.state, causes: welcome.causes })
    this.outbox.open(welcome.windowFrames)
  }

  private hear(message: RollcallMessage): void {
    if (message.type === 'answers') this.take(message)
    else if (message.type === 'accepted') {
      if (!this.outbox.accepted(message)) this.unfit(`nothing with seq ${message.seq} is under way`)
    } else if (message.type === 'problem') this.refused(message)
    else if (message.type === 'state') this.enter(message)
    else if (message.type === 'outlook') this.told.outlook.tell(message)
  }

  private take({ answers, revocations, cursor }: Of<'answers'>): void {
    const { runId } = this.options
    const own = answers.filter((answer) => answer.runId === runId)
    if (own.length < answers.length) this.unfit('answers of another run')
    const contradictions = own.filter((answer) => this.book.take(answer) === 'contradiction')
    for (const revocation of revocations) this.book.revoke(revocation)
    this.received.cursor = Math.max(this.received.cursor, cursor)
    for (const answer of contradictions) {
      const detail = `another answer to frame ${answer.frame}, cell ${answer.cell}`
      this.told.problem.tell({ kind: 'contradiction', detail, answer })
    }
    for (const answer of own) this.told.answer.tell(answer)
    for (const revocation of revocations) this.told.revocation.tell(revocation)
  }

  private refused({ seq, problem }: Of<'problem'>): void {
    this.told.problem.tell({ kind: 'refused', detail: problem.detail, problem, ...(seq === undefined ? {} : { seq }) })
    if (seq === undefined) return
    // What can be taken later must be taken in its turn: all that is under way goes out again, in order, after a pause.
    if (problemTable[problem.code].retry === 'later') this.line.cut(1000, problem.code)
    else this.outbox.refused(seq, new Problem(problem.code, problem.detail))
  }

  private enter({ state, causes, by }: LineState): void {
    const before = this.received.state?.state
    // Proving again: the web was threaded anew, or marks were miscounted. What is held may belong to other labels.
    if (state === 'proving' && before !== undefined && before !== 'proving')
      this.book.doubt(({ setup }) => setup === true)
    this.received.state = { state, causes, ...(by === undefined ? {} : { by }) }
    this.told.state.tell(this.received.state)
  }

  private unfit(detail: string): void {
    this.told.problem.tell({ kind: 'unfit', detail })
  }

  private moveTo(mm: number): void {
    this.lastMm = mm
    this.book.moveTo(mm)
  }

  private checked<T>(schema: z.ZodType<T>, given: T | readonly T[]): readonly T[] {
    try {
      return checked(schema, given)
    } catch (error) {
      if (error instanceof Problem) this.unfit(`not sent: ${error.place.pointer} ${error.message}`)
      throw error
    }
  }

  private give(call: () => Promise<Accepted>): Promise<Accepted> {
    const given = (async () => call())()
    // Who does not wait for the promise is not taken down by it: every refusal is told to listeners, too.
    given.catch((error) => {
      if (error instanceof Problem && error.code === 'outbox-full')
        this.told.problem.tell({ kind: 'full', detail: error.message })
    })
    return given
  }
}

/** Opens the line of a run and begins to connect. */
export const openLine = (options: LineOptions): LineClient => new Line(options)
