// From the ledger's entries to the objects of the line's protocol and back: µm in the ledger, mm on the wire.
import type { EntryBodies } from '../ledger/index.ts'
import type { Answer, FrameEvent } from '../protocol/index.ts'
import { toMm } from './wire-parts.ts'

export {
  type Answer,
  answerSchema,
  type Cause,
  causeSchema,
  type FrameEvent,
  frameEventSchema,
  frameEventsSchema,
  type LaidReport,
  laidReportSchema,
  laidReportsSchema,
  type Revocation,
  revocationSchema,
} from '../protocol/index.ts'
export { toMm, toUm } from './wire-parts.ts'

/** What came of frame events. */
export interface FramesOutcome {
  readonly accepted: number
  readonly answers: readonly Answer[]
  /** Frames whose reads are not there yet: of a picture, or of plain code readers. */
  readonly pending: readonly number[]
  /** Poll from here for what is pending; answers given here may come again. */
  readonly cursor: number
}

type Identity = NonNullable<EntryBodies['answer']['identity']>

// Keys in one order, so that an answer and its repeats are the same bytes: what was read from the ledger has them sorted.
// Here and below, members that may be absent are set one by one: this runs for every label, and spreading costs twenty times as much.
function toIdentity({ job, design, text, print, serial, version }: Identity): Identity {
  const identity: Identity = { job, design, text }
  if (print !== undefined) identity.print = print
  if (serial !== undefined) identity.serial = serial
  if (version !== undefined) identity.version = version
  return identity
}

/**
 * An answer as it travels, from its ledger entry and the head of the batch that made it durable. The same entry gives the same
 * bytes of JSON, whether it was just made or read again.
 */
export function toAnswer(
  body: EntryBodies['answer'],
  at: { runId: string; ledgerIndex: number; treeSize: number; root: string; revokedBy?: number | undefined },
): Answer {
  const answer: Answer = {
    runId: at.runId,
    frame: body.frame,
    place: body.place,
    cell: body.cell,
    ledgerIndex: at.ledgerIndex,
    decision: body.decision,
    flags: body.flags,
    identity: body.identity ? toIdentity(body.identity) : null,
    layers: body.layers.map((layer) => ({
      digest: layer.digest,
      layer: layer.layer,
      station: layer.station as Answer['layers'][number]['station'],
      order: layer.order,
      scope: layer.scope,
      placement: {
        leftMm: toMm(layer.placement.leftUm),
        topMm: toMm(layer.placement.topUm),
        widthMm: toMm(layer.placement.widthUm),
        heightMm: toMm(layer.placement.heightUm),
      },
    })),
    rotateDeg: body.rotateDeg,
    noReturnMm: toMm(body.noReturnUm),
    durability: 'node',
    treeSize: at.treeSize,
    root: at.root,
  }
  if (body.setup) answer.setup = true
  if (at.revokedBy !== undefined) answer.revokedBy = at.revokedBy
  return answer
}

/** A frame event as the ledger holds it: µm, and an absent value is an absent key. */
export const toFrameReads = (event: FrameEvent): ReadBody[] => event.reads.map(toReadBody)

type ReadBody = NonNullable<EntryBodies['frame']['reads']>[number]

function toReadBody({ cell, lane, text, symbology, quality }: FrameEvent['reads'][number]): ReadBody {
  const body: ReadBody = {}
  if (cell != null) body.cell = cell
  if (lane != null) body.lane = lane
  if (text !== null) body.text = text
  if (symbology != null) body.symbology = symbology
  if (quality != null) body.qualityPpm = Math.round(quality * 1e6)
  return body
}
