// What is to be sent, in the order in which it was given: kept until the other side accepts it, sent again after a cut. Frames and laid
// reports are safe to repeat, so "again" is always right.
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import type { ControllerMessage, FrameEvent, LaidReport, RollcallMessage } from '../protocol/index.ts'

/** What became of a call: how many frames or reports were taken, and frames that have no answer yet. */
export interface Accepted {
  readonly accepted: number
  readonly pending: readonly number[]
}

type Parcel =
  | { readonly kind: 'frames'; readonly call: Call; readonly items: readonly FrameEvent[] }
  | { readonly kind: 'laid'; readonly call: Call; readonly items: readonly LaidReport[] }

interface Call {
  left: number
  accepted: number
  readonly pending: number[]
  failed: boolean
  readonly resolve: (accepted: Accepted) => void
  readonly reject: (problem: Problem) => void
}

export interface OutboxOptions {
  /** Frames, and laid reports, that wait or are under way, at most. */
  readonly framesMax: number
  readonly reportsMax: number
  /** Sends a message now; false while there is no connection that takes one. */
  readonly send: (message: ControllerMessage) => boolean
}

/** Keeps a message of frames below 4 MiB, which the other side reads at most, even where every read is as long as may be. */
const readsPerMessageMax = 1_024
/** Laid reports under way; the other side refuses more than twice as many. */
const laidWindow = 8_192

export class Outbox {
  private readonly options: OutboxOptions
  private queue: Parcel[] = []
  private readonly underWay = new Map<number, Parcel>()
  private nextSeq = 0
  private windowFrames = 0
  private readonly itemsUnderWay = { frames: 0, laid: 0 }
  private readonly waiting = { frames: 0, laid: 0 }
  private ended: Problem | undefined

  constructor(options: OutboxOptions) {
    this.options = options
  }

  /** Frames and reports that are not accepted yet. */
  get counts(): { readonly frames: number; readonly reports: number } {
    return { frames: this.waiting.frames, reports: this.waiting.laid }
  }

  /** Rejects with `outbox-full` where the buffer would overflow; then nothing of the call is kept. */
  frames(items: readonly FrameEvent[]): Promise<Accepted> {
    return this.add(items.length, (call) => ({ kind: 'frames', call, items }))
  }

  laid(items: readonly LaidReport[]): Promise<Accepted> {
    return this.add(items.length, (call) => ({ kind: 'laid', call, items }))
  }

  /** The other side takes messages from now on. */
  open(windowFrames: number): void {
    this.windowFrames = windowFrames
    this.pump()
  }

  /** The connection is gone: what was under way goes out again, before everything else. */
  cut(): void {
    this.queue = [...this.underWay.values(), ...this.queue]
    this.underWay.clear()
    this.itemsUnderWay.frames = 0
    this.itemsUnderWay.laid = 0
    this.windowFrames = 0
  }

  /** False for a number that is not under way. */
  accepted({ seq, pending = [] }: RollcallMessage & { readonly type: 'accepted' }): boolean {
    const parcel = this.takeOut(seq)
    if (!parcel) return false
    const { call, items } = parcel
    call.accepted += items.length
    call.left -= items.length
    for (const frame of pending) call.pending.push(frame)
    if (call.left === 0 && !call.failed) call.resolve({ accepted: call.accepted, pending: call.pending })
    this.pump()
    return true
  }

  /** The message was refused for good: its call fails, and what is left of it is not sent. */
  refused(seq: number, problem: Problem): void {
    const parcel = this.takeOut(seq)
    if (!parcel) return
    this.fail(parcel.call, problem)
    this.pump()
  }

  /** Nothing will be sent any more: every call fails, also those to come. */
  end(problem: Problem): void {
    this.ended ??= problem
    this.cut()
    for (const { call } of this.queue.splice(0)) this.fail(call, problem)
    this.waiting.frames = 0
    this.waiting.laid = 0
  }

  private add(count: number, parcelOf: (call: Call) => Parcel): Promise<Accepted> {
    const promise = new Promise<Accepted>((resolve, reject) => {
      if (this.ended) throw this.ended
      const parcel = parcelOf({ left: count, accepted: 0, pending: [], failed: false, resolve, reject })
      const { framesMax, reportsMax } = this.options
      const countMax = parcel.kind === 'frames' ? framesMax : reportsMax
      if (this.waiting[parcel.kind] + count > countMax) {
        throw new Problem('outbox-full', `${this.waiting[parcel.kind]} ${parcel.kind} wait already`, {
          measured: this.waiting[parcel.kind] + count,
          limit: countMax,
        })
      }
      this.waiting[parcel.kind] += count
      this.queue.push(parcel)
    })
    this.pump()
    return promise
  }

  private pump(): void {
    for (let parcel = this.queue[0]; parcel; parcel = this.queue[0]) {
      if (parcel.call.failed) {
        this.waiting[parcel.kind] -= parcel.items.length
        this.queue.shift()
        continue
      }
      const count = this.countToSend(parcel)
      if (count === 0 || !this.send(piece(parcel, 0, count))) return
      if (count === parcel.items.length) this.queue.shift()
      else this.queue[0] = piece(parcel, count)
    }
  }

  // How many items go into the next message; 0 where the window has no room for them yet.
  private countToSend({ kind, items }: Parcel): number {
    if (this.windowFrames === 0) return 0
    if (kind === 'laid') {
      const count = Math.min(items.length, limits.laidPerRequestMax)
      return this.itemsUnderWay.laid + count > laidWindow ? 0 : count
    }
    let count = 0
    let reads = 0
    const countMax = Math.min(items.length, limits.framesPerRequestMax, this.windowFrames)
    for (; count < countMax; count += 1) {
      reads += items[count]?.reads.length ?? 0
      if (reads > readsPerMessageMax && count > 0) break
    }
    return this.itemsUnderWay.frames + count > this.windowFrames ? 0 : count
  }

  private send(parcel: Parcel): boolean {
    const seq = this.nextSeq
    const { items } = parcel
    const message: ControllerMessage =
      parcel.kind === 'frames'
        ? { type: 'frames', seq, frames: [...parcel.items] }
        : { type: 'laid', seq, reports: [...parcel.items] }
    if (!this.options.send(message)) return false
    this.nextSeq += 1
    this.underWay.set(seq, parcel)
    this.itemsUnderWay[parcel.kind] += items.length
    return true
  }

  private takeOut(seq: number): Parcel | undefined {
    const parcel = this.underWay.get(seq)
    if (!parcel) return undefined
    this.underWay.delete(seq)
    this.waiting[parcel.kind] -= parcel.items.length
    this.itemsUnderWay[parcel.kind] -= parcel.items.length
    return parcel
  }

  private fail(call: Call, problem: Problem): void {
    if (call.failed) return
    call.failed = true
    call.reject(problem)
  }
}

function piece(parcel: Parcel, from: number, to?: number): Parcel {
  if (parcel.kind === 'frames') return { ...parcel, items: parcel.items.slice(from, to) }
  return { ...parcel, items: parcel.items.slice(from, to) }
}
