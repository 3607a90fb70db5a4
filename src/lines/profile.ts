// The line profile `line.json`, schema `rollcall.line/1`: what the line can do and where its stations stand.
import * as z from 'zod'
import { decisions, flags, stationKinds } from '../kernel/terms.ts'

const name = z
  .string()
  .min(1)
  .max(120)
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/)
const distanceMm = z.number().min(0).max(1_000_000)

const station = z
  .strictObject({
    station: z.enum(stationKinds),
    distanceMm: distanceMm.meta({ description: 'From the code sensor, along the web, mm.' }),
    resolution: z.strictObject({ acrossDpi: z.number().positive(), alongDpi: z.number().positive() }).optional(),
    skips: z.boolean().meta({ description: 'Whether the station can let single labels pass without.' }),
    handlingMm: z.strictObject({ atHand: distanceMm, notAtHand: distanceMm }).meta({
      description: 'Web travel that a layer needs before it can be laid, when it is at hand and when it is not, mm.',
    }),
  })
  .meta({ id: 'Station' })

const policy = z
  .partialRecord(
    z.enum(flags),
    z.strictObject({
      decision: z.enum(decisions).optional(),
      stopAfter: z
        .strictObject({ count: z.int().min(1), within: z.int().min(1).max(100_000) })
        .optional()
        .meta({ description: 'Ask for a stop when `count` of the last `within` labels carry the flag.' }),
    }),
  )
  .meta({ id: 'Policy', description: 'Per flag; a line may only be stricter than the defaults.' })

export const lineSchema = z
  .strictObject({
    schema: z.literal('rollcall.line/1'),
    line: name,
    title: z.string().min(1).max(500),
    stations: z.array(station).min(1).max(16),
    webWidthMmMax: z.number().positive().max(10_000),
    heightUmMax: z.number().positive().max(2_000).meta({ description: 'Greatest height of one layer, µm.' }),
    camera: z
      .strictObject({
        pxPerMm: z.number().positive().max(200),
        leftMm: z.number().meta({ description: 'Web x of the left edge of the picture, mm.' }),
        topMm: z.number().meta({ description: 'Web y of the upper edge of the picture relative to the eye mark, mm.' }),
      })
      .optional(),
    lowQualityBelow: z
      .number()
      .min(0)
      .max(1)
      .optional()
      .meta({ description: 'Unused error correction under which a read is flagged low-quality; default 0.25.' }),
    policy: policy.optional(),
  })
  .meta({ id: 'LineProfile', title: 'rollcall.line/1' })

export type LineProfile = z.infer<typeof lineSchema>
export type LineStation = LineProfile['stations'][number]
