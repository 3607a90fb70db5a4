// What a controller's programmer gets: how a line is opened, and what can be asked of it.
import type { Answer, Cause, FrameEvent, LaidReport, Revocation, RollcallMessage } from '../protocol/index.ts'
import type { LineClock } from './clock.ts'
import type { ConnectionStatus } from './connection.ts'
import type { DueLabel } from './label.ts'
import type { Unsubscribe } from './listeners.ts'
import type { Accepted } from './outbox.ts'
import type { LineSocketClass } from './socket.ts'

type ProblemDetails = (RollcallMessage & { readonly type: 'problem' })['problem']

export interface LineOptions {
  /** Of the server, such as `http://127.0.0.1:7070`. */
  readonly url: string
  readonly runId: string
  /** Name of this controller; one a run at a time. Coming back under the same name takes its own place at once. */
  readonly controller: string
  /** Needed once the server has keys; of role `line` or `admin`. */
  readonly key?: string | undefined
  /** A cursor that was kept from before: answers up to it do not come again. Default: −1, all of them. */
  readonly after?: number | undefined
  /** How often both sides are heard of; after three of it in silence a side gives the connection up. Default: the server's, 1 s. */
  readonly heartbeatMs?: number
  /** Web travel behind the point of no return after which a label is forgotten, and how far the web may be backed up. Default 20 m. */
  readonly forgetAfterMm?: number
  /** Default: two pitches. See `DueLabel`, `overrun`. */
  readonly overrunMmMax?: number
  /** Labels kept at most; default 100,000. */
  readonly labelsMax?: number
  /** Frames that wait to be accepted, at most; default 20,000. */
  readonly framesMax?: number
  /** Laid reports that wait to be accepted, at most; default 20,000. */
  readonly reportsMax?: number
  /** Default: that of the browser; in Node the library `ws`. */
  readonly WebSocket?: LineSocketClass
  readonly clock?: LineClock
  /** 0 to 1; draws the pauses between attempts. */
  readonly random?: () => number
}

/** The run as last heard of. */
export interface LineState {
  readonly state: (RollcallMessage & { readonly type: 'state' })['state']
  /** What stops are open for, with the label that asked. */
  readonly causes: readonly {
    readonly cause: Cause
    readonly frame?: number | undefined
    readonly cell?: number | undefined
  }[]
  readonly by?: string | undefined
}

export type Welcome = RollcallMessage & { readonly type: 'welcome' }
export type Outlook = RollcallMessage & { readonly type: 'outlook' }

export type LineProblem =
  /** The server refused a message, for the reasons that `problem` gives. */
  | {
      readonly kind: 'refused'
      readonly detail: string
      readonly problem: ProblemDetails
      readonly seq?: number | undefined
    }
  /** A message that does not fit the protocol: what came was ignored, what was given was not sent. */
  | { readonly kind: 'unfit'; readonly detail: string }
  /** Another answer to a label that had one; the label is skipped. */
  | { readonly kind: 'contradiction'; readonly detail: string; readonly answer: Answer }
  /** The buffer of frames or of laid reports is full; this call was not taken. */
  | { readonly kind: 'full'; readonly detail: string }

/**
 * A run's line. Silence means skip: a label is laid only where `onDue` or `decide` gives its answer.
 *
 * An answer that is held is doubted, and its label skipped, where something may have been missed (a message that does not fit may have
 * been a revocation), where the run goes back to proving (its count is no longer trusted), and where positions fall by more than
 * `forgetAfterMm` (the encoder begins anew; say so by `rethreaded`).
 */
export interface LineClient {
  /**
   * Sends frames in the order given; while away they wait, and after a cut they go out again until they are accepted. Resolves when
   * the ledger has them all. Rejects with a `Problem`: what the server refused, `outbox-full`, `line-closed`, or `bad-request`.
   */
  frames(events: FrameEvent | readonly FrameEvent[]): Promise<Accepted>
  /** Reports what was laid; buffered and repeated like frames. */
  laid(reports: LaidReport | readonly LaidReport[]): Promise<Accepted>
  /** The encoder now, mm; call it often. Without it the positions of the frames that are sent stand in, a pitch coarse. */
  position(mm: number): void
  /** The encoder has a new origin: whatever is known of labels no longer holds, and they are skipped. */
  rethreaded(): void
  /**
   * The answer to lay by, or skip: what was settled at the label's point of no return, and before it what holds now. `positionMm`
   * where the encoder is known better than was told: past the point of no return only what was settled there counts.
   */
  decide(frame: number, cell: number, positionMm?: number): Answer | 'skip'
  /** Each label once, as the position reaches its point of no return. */
  onDue(listener: (due: DueLabel) => void): Unsubscribe
  /** Every answer as it comes, and again with those that a resumed connection repeats. */
  onAnswer(listener: (answer: Answer) => void): Unsubscribe
  onRevocation(listener: (revocation: Revocation) => void): Unsubscribe
  /** Runs' states and open stops, at every change and at every connection. `stopped` asks for the web to be stopped. */
  onState(listener: (state: LineState) => void): Unsubscribe
  onOutlook(listener: (outlook: Outlook) => void): Unsubscribe
  onProblem(listener: (problem: LineProblem) => void): Unsubscribe
  onConnection(listener: (status: ConnectionStatus) => void): Unsubscribe
  readonly connection: ConnectionStatus
  /** What the server said of the run at the last connection. */
  readonly welcome: Welcome | undefined
  readonly state: LineState | undefined
  /** Of the last answers received; for `after` of a controller that starts anew. */
  readonly cursor: number
  /** Frames and laid reports that are not accepted yet. */
  readonly waiting: { readonly frames: number; readonly reports: number }
  /** Says bye. What was not accepted is given up: wait for the promises first. */
  close(): Promise<void>
}
