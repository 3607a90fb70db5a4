// Reads that come apart from the frame they belong to: of a picture, or line by line from plain code readers. Until they are there the
// frame waits, and so do those behind it; past its point of no return it is answered without them.
import type { EntryDraft } from '../ledger/index.ts'
import { takesFrames } from './run-acts.ts'
import type { ReadBody, RunState } from './state.ts'
import type { FrameEvent } from './wire.ts'

/** What a source of reads sees of a run. */
export interface AwaitingRun {
  readonly runId: string
  readonly state: RunState
  /** All that will come for a frame that awaits reads. False where it waits no more: it was answered as late meanwhile. */
  readsArrived(frame: number, reads: readonly ReadBody[]): boolean
}

/** A source of reads beside frame events; one for all runs. Nothing here may throw or wait. */
export interface AwaitedReads {
  /** Whether reads of this frame are still to come. Asked once for each frame, as it is recorded. */
  awaits(run: AwaitingRun, event: FrameEvent): boolean
  /** The web is here now (encoder, µm); what was recorded before is asked about already. */
  moved(run: AwaitingRun, positionUm: number): void
  /** Gives what there is to every frame that still waits: the run is closed, or the web threaded anew. */
  settle(run: AwaitingRun): void
}

interface ReadsOn {
  readonly state: RunState
  write(drafts: readonly EntryDraft[]): unknown
  answerReady(): void
}

/**
 * Records the reads of a frame that waits for them, and answers what is ready then. False for a frame that waits no more, which keeps
 * its answers; the reads are dropped.
 */
export function takeReads(on: ReadsOn, { frame, reads }: { frame: number; reads: readonly ReadBody[] }): boolean {
  const { state } = on
  const record = state.frames.get(frame)
  const waits = state.waiting.has(frame) && state.waiting.get(frame) === undefined
  if (!record || !waits || !takesFrames.has(state.name)) return false
  const capture = record.capture === undefined ? {} : { capture: record.capture }
  on.write([{ type: 'reads', body: { frame, ...capture, reads: [...(record.given ?? []), ...reads] } }])
  on.answerReady()
  return true
}

/** Answers every frame that awaits reads with what there is: without a source, with none. */
export function settleReads(run: AwaitingRun, source: AwaitedReads | undefined): void {
  source?.settle(run)
  for (const [frame, reads] of [...run.state.waiting]) {
    if (reads === undefined && run.state.frames.get(frame)?.awaits) run.readsArrived(frame, [])
  }
}
