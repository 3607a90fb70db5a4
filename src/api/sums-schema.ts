// The sums of a ticket as the API describes them.
import * as z from 'zod'
import { stationKinds } from '../kernel/terms.ts'
import { reelCodes, sumsCodes } from '../lines/index.ts'

const station = z.enum(stationKinds)
const fluid = z.enum(['varnish', 'adhesive'])
const version = { job: z.string(), design: z.string(), version: z.int() }

const extent = z
  .object({
    frames: z.int(),
    from: z.enum(['what-if', 'sequence', 'ticket', 'material', 'diameter']),
    pitchMm: z.number(),
    cellsPerFrame: z.int(),
    labels: z.int(),
    runM: z.number(),
    setUpM: z.number(),
    webM: z.number(),
  })
  .meta({ description: 'How long the roll is, and who says so.' })

const limit = z.enum(['line', 'height', 'nip', 'cure', 'frames', 'blur', 'answering', 'stopping'])

const speed = z.object({
  limits: z
    .array(
      z.object({
        limit,
        mPerMin: z.number(),
        counts: z.boolean().meta({ description: 'False: shown only; no stop must come before a label.' }),
        from: z.record(z.string(), z.number()).meta({ description: 'What it was worked out from.' }),
      }),
    )
    .meta({ description: 'Slowest first.' }),
  mPerMin: z.number().optional().meta({ description: 'The ceiling; absent where no limit is known.' }),
  binds: limit.optional(),
  next: z.object({ limit, mPerMin: z.number(), times: z.number().optional() }).optional(),
})

const reel = z.object({
  station,
  foil: z.string(),
  shaft: z.string().optional(),
  leftMm: z.number(),
  widthMm: z.number(),
  usedM: z.number(),
  usedM2: z.number(),
  laidM2: z.number().meta({ description: 'Of this foil, on all its reels.' }),
  neededM: z.number().meta({ description: 'What a single reel would have to hold.' }),
  reelM: z.number().optional(),
  reels: z.int().optional(),
  suffices: z.boolean().optional(),
})

const roll = z.object({
  thicknessMm: z.number(),
  unwindMm: z.number().optional(),
  unwindFrom: z.enum(['ticket', 'length']).optional(),
  unwindMmMax: z.number().optional(),
  rewindCoreMm: z.number().optional(),
  rewoundMm: z.number().optional(),
  rewoundMmMax: z.number().optional(),
})

const sums = z
  .object({
    ticket: z.string(),
    line: z.string(),
    assumed: z.literal('even').optional().meta({
      description: 'No sequence: each cell is taken to be shared evenly by the wanted versions that fit it.',
    }),
    extent: extent.optional(),
    designs: z.array(
      z.object({
        ...version,
        labels: z.number().optional(),
        peakUm: z.number(),
        perLabel: z.array(z.object({ station, fluid, ml: z.number() })),
        foilMm2: z.number(),
      }),
    ),
    stations: z.array(
      z.object({
        station,
        fluid,
        laidMl: z.number(),
        setUpMl: z.number(),
        purgeMl: z.number(),
        ml: z.number(),
      }),
    ),
    reels: z.array(reel),
    peak: z.object({ um: z.number(), ...z.object(version).partial().shape }),
    ridge: z.object({
      meanUmMax: z.number(),
      atMm: z.number(),
      differenceUm: z.number(),
      differenceUmMax: z.number().optional(),
    }),
    speed,
    wishMPerMin: z.number().optional(),
    roll: roll.optional(),
    minutes: z
      .object({
        mPerMin: z.number(),
        setUp: z.number(),
        travel: z.number(),
        reelChanges: z.number(),
        rollChange: z.number(),
        total: z.number(),
      })
      .optional(),
    unread: z.array(z.object({ ...version, layer: z.string(), code: z.string(), message: z.string() })),
  })
  .meta({ id: 'TicketSums' })

const row = z.object({
  code: z.enum([...sumsCodes, ...reelCodes]),
  message: z.string(),
  mend: z.string(),
  measured: z.union([z.string(), z.number()]).optional(),
  limit: z.union([z.string(), z.number()]).optional(),
  ...z.object(version).partial().shape,
  layer: z.string().optional(),
})

const weighed = z.object({ sums, blockers: z.array(row), warnings: z.array(row) })

export const sumsReplySchema = weighed
  .extend({ whatIf: weighed.optional().meta({ description: 'The same with what was asked for.' }) })
  .meta({ id: 'SumsReply' })
