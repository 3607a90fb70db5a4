// The objects of the line's protocol as they travel (DESIGN §6): mm on the wire, µm in the ledger. One source for validation, types,
// OpenAPI and the JSON Schemas.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { decisions, flags, stationKinds } from '../kernel/terms.ts'
import type { EntryBodies } from '../ledger/index.ts'
import { codeText, count, digest, positionMm, textUpTo, toMm } from './wire-parts.ts'

export { toMm, toUm } from './wire-parts.ts'

export const readSchema = z
  .strictObject({
    cell: z.int().min(1).max(limits.cellsMax).nullish(),
    lane: z.int().min(1).max(limits.cellsMax).nullish(),
    text: codeText.nullable(),
    symbology: textUpTo(8).nullish().meta({ description: 'ISO/IEC 15424 symbology identifier, such as ]Q1' }),
    quality: z.number().min(0).max(1).nullish().meta({ description: 'Unused error correction, 0 to 1' }),
  })
  .meta({ id: 'Read', description: 'What a reader says of one place; text null is a no-read.' })

export const frameEventSchema = z
  .strictObject({
    frame: count.meta({ description: 'Trigger ordinal of the controller, from 0, never re-used' }),
    positionMm: positionMm.meta({ description: 'Encoder position of the eye mark, mm' }),
    markSpacingMm: z.number().min(0).max(100_000).optional(),
    reads: z.array(readSchema).max(limits.readsPerFrameMax),
  })
  .meta({ id: 'FrameEvent' })

export const frameEventsSchema = z.union([
  frameEventSchema,
  z.array(frameEventSchema).min(1).max(limits.framesPerRequestMax),
])

export const answerSchema = z
  .strictObject({
    runId: z.string(),
    frame: count,
    place: count,
    cell: z.int().min(1),
    ledgerIndex: count,
    decision: z.enum(decisions),
    flags: z.array(z.enum(flags)),
    identity: z
      .strictObject({
        job: z.string(),
        design: z.string(),
        text: z.string(),
        print: z.string().optional(),
        serial: z.string().optional(),
        version: z.int().optional(),
      })
      .nullable(),
    layers: z.array(
      z.strictObject({
        digest,
        layer: z.string(),
        station: z.enum(stationKinds),
        order: z.int(),
        scope: z.enum(['cell', 'frame', 'common']),
        placement: z.strictObject({ leftMm: z.number(), topMm: z.number(), widthMm: z.number(), heightMm: z.number() }),
      }),
    ),
    rotateDeg: z.literal([0, 90, 180, 270]),
    noReturnMm: z.number(),
    setup: z.literal(true).optional(),
    durability: z.enum(['node', 'plant']),
    treeSize: count,
    root: digest,
    revokedBy: count.optional().meta({ description: 'Ledger index of the revocation: treat this answer as skip' }),
  })
  .meta({ id: 'Answer' })

export const revocationSchema = z
  .strictObject({
    runId: z.string(),
    frame: count,
    cell: z.int().min(1),
    answer: count.meta({ description: 'Ledger index of the answer that is revoked' }),
    ledgerIndex: count,
    flag: z.enum(flags),
  })
  .meta({ id: 'Revocation' })

export const laidReportSchema = z
  .strictObject({
    frame: count,
    cell: z.int().min(1).max(limits.cellsMax),
    laid: z.enum(['full', 'part', 'none', 'unknown']),
  })
  .meta({ id: 'LaidReport' })

export const laidReportsSchema = z.union([
  laidReportSchema,
  z.array(laidReportSchema).min(1).max(limits.laidPerRequestMax),
])

export type FrameEvent = z.infer<typeof frameEventSchema>
export type Answer = z.infer<typeof answerSchema>
export type Revocation = z.infer<typeof revocationSchema>
export type LaidReport = z.infer<typeof laidReportSchema>

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
