// The objects of the line's protocol as they travel (DESIGN §6), mm on the wire: one source for validation, types, OpenAPI, AsyncAPI and
// the JSON Schemas, shared by server and client.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { decisions, flags, stationKinds } from '../kernel/terms.ts'
import { codeText, count, digest, positionMm, textUpTo } from './parts.ts'

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

/** What a stop was asked for. */
export const causeSchema = z
  .strictObject({
    flag: z.enum(flags),
    job: codeText.optional(),
    design: codeText.optional(),
    print: codeText.optional(),
  })
  .meta({ id: 'Cause' })

export type Cause = z.infer<typeof causeSchema>
