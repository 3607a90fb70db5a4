// One run's ledger in memory: gives each entry its place at once and hands what is pending to the group commit.
import { assert } from '../kernel/assert.ts'
import { sha256 } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import { Problem } from '../kernel/problem.ts'
import type { LedgerBatch, LedgerHead } from '../storage/port.ts'
import { encodeEntry } from './codec.ts'
import { type Deferred, defer } from './deferred.ts'
import type { Entry, EntryDraft } from './entries.ts'
import { headOf } from './head.ts'
import { type Frontier, leafHash } from './merkle.ts'

/** Entries that have their places, and the promise of their durability. */
export interface Appended {
  /** Ledger index of the first of them; the others follow without a gap. */
  readonly firstIndex: number
  readonly entries: readonly Entry[]
  /**
   * Resolves once they are on stable storage, with the head of the tree that their commit left; rejects with the Problem of a
   * failed commit. Nothing that depends on the entries may leave the process before.
   */
  readonly durable: Promise<LedgerHead>
}

export interface RunLedger {
  readonly runId: string
  readonly epoch: number
  readonly nextIndex: number
  /** The tree that the last commit left; size 0 and the empty root before the first. */
  readonly head: LedgerHead
  /** Why the ledger takes nothing more: a commit failed, and memory is ahead of the disk until the run is opened again. */
  readonly failed: Problem | undefined
  /**
   * Gives the entries (at least one) their indices, time and salt, synchronously: the order of calls is the order of entries.
   * All or none: throws `failed` once a commit has failed, `ledger-unavailable` after `close`, and `bad-request` for text that
   * UTF-8 cannot hold; then nothing was appended.
   */
  append(drafts: readonly EntryDraft[]): Appended
  /** Takes nothing more, waits until what was appended is committed or failed, and gives the run free. */
  close(): Promise<void>
}

/** What one run has to commit. Exactly one of the two calls must follow. */
export interface PendingCommit {
  readonly batch: LedgerBatch
  committed(): void
  failed(problem: Problem): void
}

export interface HeldLedgerParts {
  readonly runId: string
  readonly epoch: number
  /** Over everything that is committed. */
  readonly frontier: Frontier
  readonly clock: Clock
  readonly nextSalt: () => string
  /** Called when there is something to commit. */
  readonly wake: (ledger: HeldLedger) => void
  /** Called when `close` is done. */
  readonly released: (ledger: HeldLedger) => void
}

interface Pending {
  readonly firstIndex: number
  readonly entries: { readonly bytes: Uint8Array; readonly leaf: Uint8Array }[]
  readonly durable: Deferred<LedgerHead>
}

export class HeldLedger implements RunLedger {
  readonly runId: string
  readonly epoch: number
  readonly #parts: HeldLedgerParts
  #head: LedgerHead
  #failed: Problem | undefined
  #isShut = false
  #pending: Pending | undefined
  #lastSettled: Promise<unknown> = Promise.resolve()

  constructor(parts: HeldLedgerParts) {
    this.runId = parts.runId
    this.epoch = parts.epoch
    this.#parts = parts
    this.#head = headOf(parts.frontier)
  }

  get nextIndex(): number {
    return this.#parts.frontier.size
  }

  get head(): LedgerHead {
    return this.#head
  }

  get failed(): Problem | undefined {
    return this.#failed
  }

  append(drafts: readonly EntryDraft[]): Appended {
    assert(drafts.length > 0, 'an append has entries')
    if (this.#failed !== undefined) throw this.#failed
    if (this.#isShut) throw new Problem('ledger-unavailable', `the ledger of run ${this.runId} is closed`)
    const firstIndex = this.nextIndex
    const entries = this.#place(drafts)
    // Encoding may refuse a draft, so all of it comes before the first change.
    const encoded = entries.map(encodeEntry)
    this.#pending ??= this.#beginPending()
    for (const bytes of encoded) {
      const leaf = leafHash(sha256, bytes)
      this.#parts.frontier.append(leaf)
      this.#pending.entries.push({ bytes, leaf })
    }
    return { firstIndex, entries, durable: this.#pending.durable.promise }
  }

  async close(): Promise<void> {
    this.shut()
    await this.#lastSettled
    this.#parts.released(this)
  }

  /** Refuses every later append. */
  shut(): void {
    this.#isShut = true
  }

  /** Everything appended since the last call, under the root over all of it; undefined where there is nothing. */
  take(): PendingCommit | undefined {
    if (this.#pending === undefined) return undefined
    const { firstIndex, entries, durable } = this.#pending
    this.#pending = undefined
    const after = headOf(this.#parts.frontier)
    return {
      batch: { runId: this.runId, epoch: this.epoch, firstIndex, entries, root: after.root },
      committed: () => {
        this.#head = after
        durable.resolve(after)
      },
      failed: (problem) => {
        durable.reject(problem)
        this.#poison(problem)
      },
    }
  }

  #place(drafts: readonly EntryDraft[]): readonly Entry[] {
    const { clock, epoch, nextSalt } = this.#parts
    const atMs = clock.nowMs()
    return drafts.map(({ type, body }, i) => {
      return { v: 1, index: this.nextIndex + i, type, atMs, epoch, salt: nextSalt(), body } as Entry
    })
  }

  #beginPending(): Pending {
    const begun = { firstIndex: this.nextIndex, entries: [], durable: defer<LedgerHead>() }
    // An append whose promise nobody watches must not end the process; `failed` still tells of it.
    this.#lastSettled = begun.durable.promise.catch(() => undefined)
    this.#parts.wake(this)
    return begun
  }

  /** What was appended meanwhile stands on entries that are not on disk: it can never be committed either. */
  #poison(problem: Problem): void {
    this.#failed ??= problem
    this.#pending?.durable.reject(problem)
    this.#pending = undefined
  }
}
