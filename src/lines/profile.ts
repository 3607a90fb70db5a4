// The line profile `line.json`, schema `rollcall.line/1`: what the line can do, how fast, and where its stations stand.
import * as z from 'zod'
import { decisions, flags, stationKinds } from '../kernel/terms.ts'

const name = z
  .string()
  .min(1)
  .max(120)
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/)
const distanceMm = z.number().min(0).max(1_000_000)
const mPerMin = z.number().positive().max(2_000)

const rises = (values: readonly number[]): boolean =>
  values.every((value, i) => i === 0 || value > (values[i - 1] ?? 0))

const curve = z
  .array(z.strictObject({ gray: z.number().min(0).max(1), height: z.number().min(0).max(4) }))
  .min(2)
  .max(64)
  .refine((points) => rises(points.map(({ gray }) => gray)), 'the grays do not rise')
  .refine(
    (points) => points.every(({ height }, i) => height >= (points[i - 1]?.height ?? 0)),
    'a darker gray may not be lower',
  )
  .refine((points) => points[0]?.gray === 0 && points[0].height === 0, 'the curve does not begin at gray 0, height 0')
  .refine((points) => points.at(-1)?.gray === 1, 'the curve does not end at gray 1')
  .meta({
    id: 'Curve',
    description:
      'Measured gray to height: gray 0 (nothing) to 1 (full scale), height of the cured layer as a share of its stated height. Straight between points; absent: height = gray.',
  })

const foilStation = {
  adhesive: z
    .strictObject({ station: z.enum(stationKinds), coatUm: z.number().positive().max(500) })
    .optional()
    .meta({
      description:
        'The station that lays the adhesive under the foil (the foil station itself, where it has a head of its own), and the wet coat where the mask is full, µm.',
    }),
  nip: z
    .strictObject({ mPerMinMax: mPerMin })
    .optional()
    .meta({ description: 'Foil nip: while it is closed the foil travels with the web. Its greatest speed, m/min.' }),
  shafts: z
    .array(
      z.strictObject({ shaft: name, widthMmMax: z.number().positive().max(10_000), reelsMax: z.int().min(1).max(64) }),
    )
    .min(1)
    .max(16)
    .optional()
    .meta({ description: 'Foil shafts: the width that each takes and how many reels side by side.' }),
  threadingM: z.number().min(0).max(1_000).optional().meta({ description: 'Foil that threading one reel uses up, m.' }),
}

const station = z
  .strictObject({
    station: z.enum(stationKinds),
    distanceMm: distanceMm.meta({ description: 'From the code sensor, along the web, mm.' }),
    resolution: z
      .strictObject({ acrossDpi: z.number().positive(), alongDpi: z.number().positive() })
      .optional()
      .meta({ description: 'Of the head; absent: a plate.' }),
    skips: z.boolean().meta({ description: 'Whether the station can let single labels pass without.' }),
    handlingMm: z.strictObject({ atHand: distanceMm, notAtHand: distanceMm }).meta({
      description: 'Web travel that a layer needs before it can be laid, when it is at hand and when it is not, mm.',
    }),
    curve: curve.optional(),
    heightUm: z
      .strictObject({ min: z.number().min(0).max(2_000), max: z.number().positive().max(2_000) })
      .refine(({ min, max }) => min < max, 'min is not below max')
      .optional()
      .meta({ description: 'Heights that the station lays, µm: a layer’s stated height lies within.' }),
    shrinkage: z
      .number()
      .min(0)
      .max(0.95)
      .optional()
      .meta({ description: 'Share of the wet volume that is lost in curing; default 0.' }),
    purgeMl: z.number().min(0).max(100_000).optional().meta({ description: 'Purged per set-up, mL.' }),
    ...foilStation,
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

const speed = z
  .strictObject({
    mPerMinMax: mPerMin,
    byHeight: z
      .array(z.strictObject({ heightUmMax: z.number().positive().max(10_000), mPerMinMax: mPerMin }))
      .min(1)
      .max(64)
      .refine((rows) => rises(rows.map(({ heightUmMax }) => heightUmMax)), 'the heights do not rise')
      .optional()
      .meta({ description: 'Greatest speed up to each peak summed height; none lays above the last.' }),
    cureMPerMinMax: mPerMin.optional(),
    accelerationMPerS2: z.number().positive().max(50).optional().meta({ description: 'Of ramps up and down, m/s².' }),
  })
  .meta({ id: 'Speed' })

const reading = z
  .strictObject({
    framesPerSecondMax: z.number().positive().max(10_000).optional(),
    exposureUs: z.number().positive().max(1_000_000).optional(),
    blurModulesMax: z
      .number()
      .positive()
      .max(2)
      .optional()
      .meta({ description: 'Travel during the exposure that a code still reads with, as a share of one module.' }),
    answerMsP999: z
      .number()
      .positive()
      .max(60_000)
      .optional()
      .meta({ description: '99.9th percentile of the time from trigger to answer, ms.' }),
    lagMm: distanceMm.optional().meta({ description: 'Web travel from the mark to the trigger’s arrival here, mm.' }),
  })
  .meta({ id: 'Reading' })

const stopping = z
  .strictObject({
    reactionMs: z.number().min(0).max(60_000),
    decelerationMPerS2: z.number().positive().max(50),
  })
  .meta({ id: 'Stopping', description: 'From a stop answer until the web stands: v·t + v²/2a.' })

const faces = z.enum(['out', 'in'])

const winding = {
  unwind: z
    .strictObject({
      diameterMmMax: z.number().positive().max(10_000).optional(),
      faces: z.array(faces).min(1).max(2).optional().meta({
        description: 'How rolls may be wound so that the web runs face up: out (unwound over), in (unwound under).',
      }),
    })
    .optional(),
  rewind: z
    .strictObject({
      diameterMmMax: z.number().positive().max(10_000).optional(),
      ridgeUmMax: z
        .number()
        .positive()
        .max(10_000)
        .optional()
        .meta({ description: 'Greatest difference of mean height across the web that winds without telescoping, µm.' }),
      coreOuterMm: z.number().positive().max(10_000).optional(),
    })
    .optional(),
  charts: z
    .array(
      z.strictObject({
        chart: name,
        positions: z
          .array(
            z.strictObject({
              number: z.int().min(0).max(99),
              leadEdge: z.enum(['top', 'bottom', 'left', 'right']),
              face: faces,
            }),
          )
          .min(1)
          .max(16),
      }),
    )
    .max(16)
    .optional()
    .meta({ description: 'Charts of unwind positions that this site goes by; published ones contradict one another.' }),
}

const minutes = z
  .strictObject({
    setUp: z.number().min(0).max(10_000).optional(),
    foilChange: z.number().min(0).max(10_000).optional(),
    pitchChange: z.number().min(0).max(10_000).optional(),
    reelChange: z.number().min(0).max(10_000).optional(),
    rollChange: z.number().min(0).max(10_000).optional(),
  })
  .meta({ id: 'Minutes', description: 'What each takes on this line, minutes; absent: 0.' })

export const lineSchema = z
  .strictObject({
    schema: z.literal('rollcall.line/1'),
    line: name,
    title: z.string().min(1).max(500),
    stations: z
      .array(station)
      .min(1)
      .max(16)
      .refine(
        (stations) => new Set(stations.map((row) => row.station)).size === stations.length,
        'a station stands twice',
      )
      .meta({ description: 'In web order, one of a kind.' }),
    webWidthMmMax: z.number().positive().max(10_000),
    heightUmMax: z.number().positive().max(2_000).meta({ description: 'Greatest height of one layer, µm.' }),
    speed: speed.optional(),
    reading: reading.optional(),
    stopping: stopping.optional(),
    ...winding,
    minutes: minutes.optional(),
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
