// A live run: takes events, records before use, decides, answers when durable. All changes go through `write`, which appends to the
// ledger and folds the entries into the state in the same breath; nothing leaves before the batch that holds it is committed.
import { assert } from '../kernel/assert.ts'
import type { Digest } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { decodeEntry, type Entry, type EntryBodies, type EntryDraft, type RunLedger } from '../ledger/index.ts'
import type { Database, LedgerHead } from '../storage/port.ts'
import { checkEvents, isRepeat } from './admission.ts'
import { type AwaitedReads, settleReads, takeReads } from './awaited-reads.ts'
import { slipStep, stopStep } from './causes.ts'
import { type DecideWith, decideLabel } from './decide.ts'
import { type DurableState, openDurableState, type ShownState } from './durable-state.ts'
import { applyEntry } from './fold.ts'
import { headOver } from './heads.ts'
import { freshReports } from './laid-reports.ts'
import type { Resolver } from './resolve.ts'
import * as acts from './run-acts.ts'
import type { FrameRecord, ReadBody, RunState } from './state.ts'
import { type AnswerEntry, type AnswersPage, type RunListener, type Told, toTold } from './told.ts'
import {
  type Answer,
  type FrameEvent,
  type FramesOutcome,
  type LaidReport,
  toAnswer,
  toFrameReads,
  toUm,
} from './wire.ts'

export interface RunParts extends Omit<DecideWith, 'resolver'> {
  readonly state: RunState
  readonly ledger: RunLedger
  readonly heads: LedgerHead[]
  readonly database: Database
  readonly clock: Clock
  /** One for each of the run's tickets, in their order. */
  readonly resolvers: readonly Resolver[]
  /** Reads that come apart from frame events; absent: none do. */
  readonly awaited?: AwaitedReads
  /** Told after each durable write, for metrics and waiting readers. */
  readonly onWritten: (entries: readonly Entry[]) => void
}

interface IssuedAnswer {
  readonly entry: AnswerEntry
  readonly durable: Promise<LedgerHead>
}

/** The commit that will make the last writes durable, with what it holds; one promise and one telling for all of them. */
interface CommitToCome {
  readonly durable: Promise<LedgerHead>
  readonly settled: Promise<LedgerHead>
  readonly entries: Entry[]
}

type Issued = Map<number, readonly IssuedAnswer[]>

const { takesFrames } = acts

export class Run {
  readonly state: RunState
  private readonly parts: RunParts
  private readonly resolvers: Resolver[]
  private readonly desk: acts.ActsOn
  private readonly readsDesk: Parameters<typeof takeReads>[0]
  /** Durability of the last write; entries become durable in order, so it stands for all before it. */
  private tail: Promise<unknown> = Promise.resolve()
  private commit: CommitToCome | undefined
  private admission: Promise<unknown> = Promise.resolve()
  private readonly listeners = new Set<RunListener>()
  private readonly durable: DurableState
  /** Where the encoder was last said to be, with a frame or between two, µm. */
  positionUm: number

  constructor(parts: RunParts) {
    this.parts = parts
    this.state = parts.state
    this.durable = openDurableState(parts.state)
    this.positionUm = parts.state.lastPositionUm
    this.resolvers = [...parts.resolvers]
    this.desk = { state: parts.state, write: (drafts) => this.write(drafts) }
    this.readsDesk = { ...this.desk, answerReady: () => this.answerReady(new Map()) }
  }

  /** Why the run takes nothing more until it is opened again from its ledger. */
  get failed(): Problem | undefined {
    return this.parts.ledger.failed
  }

  get runId(): string {
    return this.state.runId
  }

  /** Entries that are durable, from the first on. */
  get durableSize(): number {
    return this.parts.heads.at(-1)?.treeSize ?? 0
  }

  /** State and open causes as they are durable: `state` may be ahead by what is being committed. */
  get shown(): ShownState {
    return this.durable.shown()
  }

  /** Tells of every durable write from now on; the returned function ends that. */
  follow(listener: RunListener): () => void {
    this.listeners.add(listener)
    return () => this.listeners.delete(listener)
  }

  /** Appends and takes up entries; the promise is that of their durability. Problem `ledger-unavailable` and kin. */
  private write(drafts: readonly EntryDraft[]): { entries: readonly Entry[]; durable: Promise<LedgerHead> } {
    const { entries, durable } = this.parts.ledger.append(drafts)
    for (const entry of entries) applyEntry(this.state, entry)
    if (this.commit?.durable !== durable) this.commit = this.expect(durable)
    this.commit.entries.push(...entries)
    return { entries, durable: this.commit.settled }
  }

  private expect(durable: Promise<LedgerHead>): CommitToCome {
    const entries: Entry[] = []
    const settled = durable.then((head) => {
      const last = this.parts.heads.at(-1)
      if (!last || head.treeSize > last.treeSize) this.parts.heads.push(head)
      for (const entry of entries) this.durable.take(entry)
      this.parts.onWritten(entries)
      for (const listener of this.listeners) listener.written(entries, head)
      return head
    })
    settled.catch((error) => {
      for (const listener of this.listeners) listener.failed(asProblem(error))
    })
    this.tail = settled
    return { durable, settled, entries }
  }

  /** Takes frame events in order. All are checked before the first is recorded: a refused batch leaves nothing behind. */
  async frames(events: readonly FrameEvent[]): Promise<FramesOutcome> {
    const issued: Issued = new Map()
    const since = await this.inTurn(() => this.admit(events, issued))
    await this.tail
    return this.outcome({ frames: events.map((event) => event.frame), since, issued })
  }

  /** As `frames`, for who follows the run and gets the answers that way. */
  async takeFrames(events: readonly FrameEvent[]): Promise<{ accepted: number; pending: readonly number[] }> {
    await this.inTurn(() => this.admit(events, new Map()))
    await this.tail
    const asked = [...new Set(events.map((event) => event.frame))]
    return { accepted: asked.length, pending: asked.filter((frame) => this.state.waiting.has(frame)) }
  }

  private async admit(events: readonly FrameEvent[], issued: Issued): Promise<number> {
    this.demand(takesFrames)
    checkEvents(this.state, events)
    const repeats = events.filter((event) => this.state.frames.has(event.frame))
    await Promise.all(repeats.map((event) => this.demandSame(event)))
    // No frame came meanwhile, but the run may have been closed.
    this.demand(takesFrames)
    const since = this.state.nextIndex - 1
    for (const event of events) {
      if (this.state.frames.has(event.frame)) continue
      const awaits = this.parts.awaited?.awaits(this, event)
      this.record(event, { reads: toFrameReads(event), ...(awaits ? { awaits: 1 } : {}) }, issued)
    }
    if (repeats.length < events.length) this.parts.awaited?.moved(this, this.positionUm)
    return since
  }

  // One request after the other: while one reads a repeated frame's entry, a later one must not get its frames in before it.
  private inTurn<T>(admit: () => Promise<T>): Promise<T> {
    const turn = this.admission.then(admit)
    this.admission = turn.catch(() => undefined)
    return turn
  }

  /** A frame whose reads will come from a picture that is stored already. `fresh` is false for a repeat. */
  async capture(event: {
    frame: number
    positionMm: number
    digest: Digest
  }): Promise<FramesOutcome & { fresh: boolean }> {
    const issued: Issued = new Map()
    const { since, fresh } = await this.inTurn(async () => {
      this.demand(takesFrames)
      const since = this.state.nextIndex - 1
      const known = this.state.frames.get(event.frame)
      if (!known) {
        const frameEvent = { frame: event.frame, positionMm: event.positionMm, reads: [] }
        checkEvents(this.state, [frameEvent])
        this.record(frameEvent, { capture: event.digest }, issued)
      } else if (known.capture !== event.digest || known.positionUm !== toUm(event.positionMm)) {
        throw frameConflict(event.frame)
      }
      return { since, fresh: !known }
    })
    await this.tail
    return { fresh, ...(await this.outcome({ frames: [event.frame], since, issued })) }
  }

  /** The reads of a frame's picture. A frame that was answered meanwhile (late) keeps its answer; the reads are dropped. */
  async pictureRead(frame: number, reads: readonly ReadBody[]): Promise<void> {
    this.readsArrived(frame, reads)
    await this.tail
  }

  /** All reads that come apart from a frame that waits for them. False where it waits no more. */
  readsArrived(frame: number, reads: readonly ReadBody[]): boolean {
    return takeReads(this.readsDesk, { frame, reads })
  }

  /** The encoder between two marks: what has passed its point of no return by now is answered without its reads. */
  noteEncoder(positionMm: number): Promise<void> {
    return this.inTurn(async () => {
      if (!takesFrames.has(this.state.name)) return
      this.positionUm = toUm(positionMm)
      this.answerReady(new Map())
      this.parts.awaited?.moved(this, this.positionUm)
    })
  }

  private record(event: FrameEvent, body: { reads?: ReadBody[]; capture?: string; awaits?: 1 }, issued: Issued): void {
    const positionUm = toUm(event.positionMm)
    this.positionUm = positionUm
    const { place } = this.state.tracker.locate(positionUm)
    const spacing = event.markSpacingMm === undefined ? {} : { markSpacingUm: toUm(event.markSpacingMm) }
    this.write([{ type: 'frame', body: { frame: event.frame, place, positionUm, ...spacing, ...body } }])
    this.answerReady(issued)
  }

  // Answers every waiting frame from the first on that is ready or past its point of no return; stops at the first that is neither.
  private answerReady(issued: Issued): void {
    for (const [frameNumber, reads] of this.state.waiting) {
      const frame = this.state.frames.get(frameNumber)
      assert(frame, 'a waiting frame is recorded')
      const due = reads ?? (this.isLate(frame) ? 'late' : undefined)
      if (due === undefined) return
      issued.set(frameNumber, this.answerFrame(frame, due))
    }
  }

  private isLate(frame: FrameRecord): boolean {
    return this.positionUm >= frame.positionUm + this.state.soonestNoReturnUm
  }

  private answerFrame(frame: FrameRecord, reads: readonly ReadBody[] | 'late'): readonly IssuedAnswer[] {
    const bodies: EntryBodies['answer'][] = []
    const using = { ...this.parts, resolver: this.resolverFor(frame) }
    const issued = this.state.cells.map((cell, ordinal): IssuedAnswer => {
      const body = decideLabel(this.state, { frame, cell, ordinal, reads }, using)
      bodies.push(body)
      const { entries, durable } = this.write([{ type: 'answer', body }])
      const [entry] = entries
      assert(entry?.type === 'answer', 'an answer was written')
      return { entry, durable }
    })
    // The frame's answers stay together; the steps follow them.
    const stop = bodies.find((body) => body.cause)
    if (stop && this.state.name === 'open') this.write([stopStep(stop)])
    if (frame.slips) this.write([slipStep(frame)])
    return issued
  }

  private resolverFor(frame: FrameRecord): Resolver {
    const at = this.state.tickets.findLastIndex(({ fromIndex }) => fromIndex < frame.entryIndex)
    const resolver = this.resolvers[at]
    assert(resolver, 'a frame was recorded under a ticket')
    return resolver
  }

  private async demandSame(event: FrameEvent): Promise<void> {
    const record = this.state.frames.get(event.frame)
    await this.tail
    const entry = record && (await this.readEntry(record.entryIndex))
    if (entry?.type !== 'frame' || !isRepeat(entry.body, event, toFrameReads(event))) throw frameConflict(event.frame)
  }

  private async readEntry(index: number): Promise<Entry | undefined> {
    const [row] = await this.parts.database.readLedger({ runId: this.runId, from: index, count: 1 })
    return row && decodeEntry(row.bytes)
  }

  private asAnswer(entry: AnswerEntry, { treeSize, root }: LedgerHead): Answer {
    const { index: ledgerIndex, body } = entry
    return toAnswer(body, {
      runId: this.runId,
      ledgerIndex,
      treeSize,
      root,
      revokedBy: this.state.revoked.get(ledgerIndex),
    })
  }

  /** The answers to all labels of a frame; undefined while it has none. Problem `not-found` for a frame never recorded. */
  async answersOf(frame: number): Promise<readonly Answer[] | undefined> {
    const record = this.state.frames.get(frame)
    if (!record) throw new Problem('not-found', `run ${this.runId} has no frame ${frame}`)
    if (record.answersAt === undefined) return undefined
    await this.tail
    const range = { runId: this.runId, from: record.answersAt, count: this.state.cells.length }
    return (await this.parts.database.readLedger(range)).map((row) => {
      const entry = decodeEntry(row.bytes)
      if (entry.type !== 'answer') throw new Problem('ledger-bad', `entry ${row.index} is no answer`)
      return this.asAnswer(entry, headOver(this.parts.heads, entry.index))
    })
  }

  private async outcome(of: { frames: readonly number[]; since: number; issued: Issued }): Promise<FramesOutcome> {
    const asked = [...new Set(of.frames)]
    const answers: Answer[] = []
    const pending: number[] = []
    for (const frame of asked) {
      const issued = of.issued.get(frame)
      if (issued) for (const { entry, durable } of issued) answers.push(this.asAnswer(entry, await durable))
      else if (this.state.frames.get(frame)?.answersAt === undefined) pending.push(frame)
      else answers.push(...((await this.answersOf(frame)) ?? []))
    }
    return { accepted: asked.length, answers, pending, cursor: of.since }
  }

  /** Durable answers and revocations with a ledger index above `after` (−1 for all), at most `count` entries looked at. */
  async answersAfter(after: number, count: number): Promise<AnswersPage> {
    const { heads, database } = this.parts
    // A commit may have reached the database and not yet this run, which does not know its head then.
    const known = Math.max(0, this.durableSize - after - 1)
    const range = { runId: this.runId, from: after + 1, count: Math.min(count, limits.answersPerPageMax, known) }
    const rows = known === 0 ? [] : await database.readLedger(range)
    const page = this.told(
      rows.map((row) => decodeEntry(row.bytes)),
      (index) => headOver(heads, index),
    )
    return { ...page, cursor: rows.at(-1)?.index ?? after, state: this.state.name }
  }

  /** The answers and revocations among durable entries, as they travel. */
  told(entries: readonly Entry[], headOf: (index: number) => LedgerHead): Told {
    return toTold(entries, this.runId, (entry) => this.asAnswer(entry, headOf(entry.index)))
  }

  /** What the controller did with labels. The same report again changes nothing; another one is `laid-conflict`. */
  async laid(reports: readonly LaidReport[]): Promise<{ accepted: number }> {
    this.demand(new Set(['proving', 'open', 'stopped', 'closing']))
    const fresh = freshReports(this.state, reports)
    if (fresh.length > 0) await this.write(fresh.map((body) => ({ type: 'laid', body }))).durable
    return { accepted: reports.length }
  }

  material(body: EntryBodies['material']): Promise<void> {
    if (body.event === 're-thread') settleReads(this, this.parts.awaited)
    return acts.recordMaterial(this.desk, body)
  }

  startProving(act: acts.Person): Promise<void> {
    return acts.startProving(this.desk, act)
  }

  prove(act: acts.ProveAct): Promise<void> {
    return acts.prove(this.desk, act)
  }

  clear(act: acts.ClearAct): Promise<void> {
    return acts.clear(this.desk, act)
  }

  withdraw(act: acts.RecallAct): Promise<{ revoked: number }> {
    return acts.recall(this.desk, act)
  }

  /** Frames recorded before keep the resolver of their ticket, also those whose pictures are not read yet. */
  async changeTicket(act: acts.Person, next: acts.NextTicket, resolver: Resolver): Promise<void> {
    const durable = acts.changeTicket(this.desk, act, next)
    this.resolvers.push(resolver)
    await durable
  }

  close(act: acts.Person): Promise<void> {
    settleReads(this, this.parts.awaited)
    return acts.close(this.desk, act)
  }

  seal(act: acts.Person): Promise<LedgerHead> {
    return acts.seal(this.desk, act)
  }

  abort(act: acts.Person & { readonly why: string }): Promise<void> {
    return acts.abort(this.desk, act)
  }

  private demand(allowed: ReadonlySet<RunState['name']>): void {
    acts.demandState(this.state, allowed)
  }
}

const frameConflict = (frame: number): Problem =>
  new Problem('frame-conflict', `frame ${frame} is recorded with other reads or another position`, { measured: frame })

const asProblem = (error: unknown): Problem =>
  error instanceof Problem ? error : new Problem('internal', 'what became durable could not be told')
