// One connection after another to a run: opens, greets, keeps the heartbeat, notices silence, comes back with growing pauses.
import { type ControllerMessage, closeCodes, type RollcallMessage } from '../protocol/index.ts'
import { retryAfterMs } from './backoff.ts'
import type { LineClock } from './clock.ts'
import { readMessage } from './reading.ts'
import type { LineSocket } from './socket.ts'

export type ConnectionStatus =
  | { readonly state: 'connecting' }
  | { readonly state: 'open' }
  /** Lost; the next attempt follows after `retryMs`. */
  | { readonly state: 'away'; readonly code: number; readonly reason: string; readonly retryMs: number }
  /** No further attempt: `close` was called, the run is over, or the server will never take this controller as it is. */
  | {
      readonly state: 'ended'
      readonly because: 'closed' | 'over' | 'refused'
      readonly code: number
      readonly reason: string
    }

export interface ConnectionParts {
  readonly open: () => Promise<LineSocket>
  readonly clock: LineClock
  /** 0 to 1. */
  readonly random: () => number
  readonly hello: () => ControllerMessage
  readonly heartbeat: () => ControllerMessage
  readonly onWelcome: (welcome: RollcallMessage & { readonly type: 'welcome' }) => void
  /** Everything but the welcome. */
  readonly onMessage: (message: RollcallMessage) => void
  readonly onUnfit: (unfit: { readonly detail: string; readonly mayRevoke: boolean }) => void
  readonly onStatus: (status: ConnectionStatus) => void
  /** Whether a connection that closes now need not come back. */
  readonly isOver: () => boolean
}

/** A server that opened the socket and then says nothing. */
const welcomeWithinMs = 5_000
/** For the closing handshake after a bye. */
const closeWithinMs = 1_000
/** RFC 6455 §7.4.1: a connection that ended without a close frame. */
const noCloseFrame = 1006

/** Repeating the same hello can't help. */
const forGood: ReadonlySet<number> = new Set([
  closeCodes.badHello,
  closeCodes.unauthorized,
  closeCodes.forbidden,
  closeCodes.noRun,
  // Somebody else under the same name; coming back would only throw them out in turn.
  closeCodes.replaced,
])

export class Connection {
  private readonly parts: ConnectionParts
  private socket: LineSocket | undefined
  /** Counts attempts, so that a late event of an earlier one is told apart. */
  private attempt = 0
  private failures = 0
  private heardMs = 0
  private current: ConnectionStatus = { state: 'connecting' }
  private stopTimer: () => void = () => undefined

  constructor(parts: ConnectionParts) {
    this.parts = parts
  }

  get status(): ConnectionStatus {
    return this.current
  }

  /** Opens a connection now. */
  start(): void {
    this.attempt += 1
    this.become({ state: 'connecting' })
    this.in(welcomeWithinMs, () => this.cut(noCloseFrame, `no welcome within ${welcomeWithinMs} ms`))
    void this.open(this.attempt)
  }

  /** False while messages are not taken. */
  send(message: ControllerMessage): boolean {
    if (this.current.state !== 'open') return false
    return this.post(message)
  }

  /** Gives this connection up and comes back, after a pause. */
  cut(code: number, reason: string): void {
    if (this.current.state === 'away' || this.current.state === 'ended') return
    this.dropSocket(true)
    this.failures += 1
    const retryMs = retryAfterMs(this.failures, this.parts.random)
    this.in(retryMs, () => this.start())
    this.become({ state: 'away', code, reason, retryMs })
  }

  /** Says bye and ends. Resolves when the socket is closed. */
  async close(): Promise<void> {
    if (this.current.state === 'ended') return
    const socket = this.socket
    if (this.current.state === 'open') this.post({ type: 'bye' })
    this.socket = undefined
    this.end('closed', 1000, 'closed by this side')
    if (!socket) return
    await new Promise<void>((resolve) => {
      socket.onclose = () => resolve()
      socket.onmessage = null
      socket.close(1000)
      this.in(closeWithinMs, resolve)
    })
    this.stopTimer()
    socket.terminate?.()
  }

  private async open(attempt: number): Promise<void> {
    try {
      const socket = await this.parts.open()
      if (attempt !== this.attempt || this.current.state !== 'connecting') abandon(socket)
      else this.attach(socket)
    } catch (error) {
      if (attempt === this.attempt) this.cut(noCloseFrame, error instanceof Error ? error.message : String(error))
    }
  }

  private attach(socket: LineSocket): void {
    this.socket = socket
    let failure = 'the connection ended without a word'
    socket.onopen = () => void this.post(this.parts.hello())
    socket.onmessage = ({ data }: { data: unknown }) => this.hear(data)
    socket.onerror = ({ message }: { message?: string }) => {
      failure = message ?? failure
    }
    socket.onclose = ({ code, reason }: { code: number; reason: string }) => this.closed(code, reason || failure)
  }

  private hear(data: unknown): void {
    this.heardMs = this.parts.clock.monotonicMs()
    const reading = readMessage(data)
    if (reading.kind === 'unfit') this.parts.onUnfit(reading)
    else if (reading.message.type === 'welcome') this.welcome(reading.message)
    else {
      // Only a connection that gets work done ends the growing of pauses.
      if (reading.message.type === 'accepted' || reading.message.type === 'heartbeat') this.failures = 0
      this.parts.onMessage(reading.message)
    }
  }

  private welcome(welcome: RollcallMessage & { readonly type: 'welcome' }): void {
    if (this.current.state !== 'connecting') return
    this.beat(welcome)
    this.become({ state: 'open' })
    this.parts.onWelcome(welcome)
  }

  private beat(every: { readonly heartbeatMs: number; readonly silenceMs: number }): void {
    this.in(every.heartbeatMs, () => {
      const silentMs = this.parts.clock.monotonicMs() - this.heardMs
      if (silentMs >= every.silenceMs) return this.cut(closeCodes.silent, `nothing was heard for ${silentMs} ms`)
      this.beat(every)
      this.post(this.parts.heartbeat())
    })
  }

  private closed(code: number, reason: string): void {
    if (forGood.has(code)) this.end('refused', code, reason)
    else if (this.parts.isOver()) this.end('over', code, reason)
    else this.cut(code, reason)
  }

  private end(because: 'closed' | 'over' | 'refused', code: number, reason: string): void {
    this.stopTimer()
    this.dropSocket(false)
    this.become({ state: 'ended', because, code, reason })
  }

  private post(message: ControllerMessage): boolean {
    try {
      this.socket?.send(JSON.stringify(message))
      return this.socket !== undefined
    } catch (error) {
      // In its own turn: whoever sends is in the middle of something.
      this.in(0, () => this.cut(noCloseFrame, error instanceof Error ? error.message : String(error)))
      return false
    }
  }

  private dropSocket(isBroken: boolean): void {
    if (this.socket) abandon(this.socket, isBroken)
    this.socket = undefined
  }

  private become(status: ConnectionStatus): void {
    this.current = status
    this.parts.onStatus(status)
  }

  // One timer at a time: for the welcome, the heartbeat, the pause.
  private in(ms: number, call: () => void): void {
    this.stopTimer()
    this.stopTimer = this.parts.clock.after(ms, call)
  }
}

const ignore = (): void => undefined

// An error after this must still find a listener, or Node takes the process down.
function abandon(socket: LineSocket, isBroken = true): void {
  Object.assign(socket, { onopen: null, onmessage: null, onclose: null, onerror: ignore })
  try {
    socket.close(1000)
  } catch {
    // It was never open.
  }
  if (isBroken) socket.terminate?.()
}
