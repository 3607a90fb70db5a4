// A scenario of the simulator, schema `rollcall.scenario/1`: how the line moves, what stands on the roll, what goes wrong, and how it
// must end. Places count the frames of the web as it comes from the unwind, from 0.
import * as z from 'zod'
import { limits } from '../../kernel/limits.ts'
import { problemTable } from '../../kernel/problem.ts'
import { decisions, flags } from '../../kernel/terms.ts'

const place = z.int().min(0).max(100_000_000)
const cells = z
  .array(z.int().min(1).max(limits.cellsMax))
  .min(1)
  .optional()
  .meta({ description: 'Absent: all cells on the roll.' })
const mPerMin = z.number().positive().max(2_000)
const seconds = z.number().min(0).max(86_400)
const share = z
  .number()
  .gt(0)
  .max(1)
  .default(1)
  .meta({ description: 'Of the labels (frames) there, drawn by the seed.' })
const stretch = { from: place, to: place.optional().meta({ description: 'Absent: `from` alone.' }) }
const labels = { ...stretch, cells, share }

const trouble = <K extends string, S extends z.core.$ZodLooseShape>(kind: K, shape: S, description: string) =>
  z.strictObject({ kind: z.literal(kind), ...shape }).meta({ description })

const troubles = z.discriminatedUnion('kind', [
  trouble(
    'splice',
    {
      at: place,
      framesCutOut: z.int().min(0).max(100_000),
      phaseMm: z
        .number()
        .min(-10_000)
        .max(10_000)
        .default(0)
        .meta({ description: 'Shift of the marks behind it, mm.' }),
      told: z.boolean().default(true).meta({ description: 'Whether the line reports it.' }),
    },
    'The web is spliced before this frame, and frames of the printed order are missing.',
  ),
  trouble('missed-mark', stretch, 'The eye passes over the mark: no trigger, and frame numbers fall behind by one.'),
  trouble(
    'false-mark',
    { at: place, offsetMm: z.number().positive().max(10_000) },
    'The eye takes something behind this frame’s mark for another one: a trigger without codes.',
  ),
  trouble('no-read', labels, 'Nothing is read.'),
  trouble('garbled', labels, 'Something is read that is no job’s code.'),
  trouble('misread', labels, 'The well-formed code of another design is read.'),
  trouble(
    'duplicate',
    { ...labels, back: z.int().min(1).max(1_000_000) },
    'The press printed the code of the label so many frames before once more.',
  ),
  trouble(
    'other-job',
    { ...labels, job: z.string().max(limits.nameLengthMax) },
    'Labels of a published job that is not on the ticket.',
  ),
  trouble(
    'back-up',
    { at: place, mm: z.number().min(0).max(1_000_000), standS: seconds.default(10) },
    'The line is stopped at this frame, the web is backed up (0: only stopped), and it starts again.',
  ),
  trouble('reconnect', { at: place }, 'The connection is cut as this frame is sent.'),
  trouble(
    'controller-dies',
    { at: place, awayFrames: z.int().min(1).max(500) },
    'The controller dies before this frame; another takes up the run so many frames later. Frames between are never sent.',
  ),
  trouble(
    'shift',
    {
      ...stretch,
      frames: z
        .int()
        .min(-8)
        .max(8)
        .refine((frames) => frames !== 0, 'is no shift'),
    },
    'The codes read belong to the frame so many before (behind, where negative).',
  ),
  trouble('repeat', { ...stretch, share }, 'Frames are sent twice.'),
  trouble('reorder', { at: place }, 'This frame is sent behind the next one.'),
  trouble(
    'laid',
    { ...labels, laid: z.enum(['none', 'part', 'unknown']) },
    'What the head does with labels that it should lay, the first time. `unknown`: all is laid, and it cannot say so.',
  ),
])

const truth = z.discriminatedUnion('from', [
  z
    .strictObject({
      from: z.literal('jobs'),
      blockFrames: z
        .int()
        .min(1)
        .max(1_000_000)
        .default(12)
        .meta({ description: 'Frames of a lane that carry one design.' }),
      print: z.string().min(1).max(limits.nameLengthMax).optional(),
      firstSerial: z.int().min(0).max(Number.MAX_SAFE_INTEGER).default(1),
    })
    .meta({ description: 'Codes made by the rules of the ticket’s published jobs, designs in turn by the seed.' }),
  z
    .strictObject({ from: z.literal('sequence'), file: z.string().max(1_000).optional() })
    .meta({ description: 'A sequence CSV beside the scenario; absent: the one of the ticket.' }),
])

const tally = z
  .union([z.int().min(0), z.strictObject({ min: z.int().min(0).optional(), max: z.int().min(0).optional() })])
  .meta({ description: 'A number, or its bounds.' })

const expectation = z
  .strictObject({
    exitCode: z.literal([0, 1]),
    wrongLays: tally,
    doubleLays: tally,
    wrongCodes: tally,
    missedLays: tally,
    lostAnswers: tally,
    doubledAnswers: tally,
    lateAnswers: tally,
    shiftFrames: z.int(),
    stops: z.array(z.enum(flags)).meta({ description: 'Flags of the stops, in order.' }),
    decisions: z.partialRecord(z.enum(decisions), tally),
    flags: z.partialRecord(z.enum(flags), tally),
    refusals: z.partialRecord(
      z.enum(Object.keys(problemTable) as [keyof typeof problemTable, ...(keyof typeof problemTable)[]]),
      tally,
    ),
    laid: z.partialRecord(z.enum(['full', 'part', 'none', 'unknown']), tally),
  })
  .partial()
  .meta({ id: 'ScenarioExpectation', description: 'How the simulation must end; what is left out may be anything.' })

export const scenarioSchema = z
  .strictObject({
    schema: z.literal('rollcall.scenario/1'),
    title: z.string().min(1).max(500),
    shows: z.string().min(1).max(2_000).optional(),
    seed: z.int().min(0).max(0xffff_ffff).default(1),
    roll: z.strictObject({
      frames: z.int().min(1).max(10_000_000),
      setUpFrames: z.int().min(1).max(10_000).default(5).meta({ description: 'Before somebody proves the set-up.' }),
      firstPositionMm: z.number().min(0).max(1_000_000).default(1_000),
      noiseUm: z.number().min(0).max(5_000).default(60).meta({ description: 'Of the mark’s measured position, ±.' }),
    }),
    line: z
      .strictObject({
        speeds: z
          .array(z.strictObject({ from: place, mPerMin }))
          .min(1)
          .refine(
            (rows) => rows.every((row, i) => i === 0 || row.from > (rows[i - 1]?.from ?? 0)),
            'the places do not rise',
          )
          .refine((rows) => rows[0]?.from === 0, 'the first row is not from place 0'),
        accelerationMPerS2: z.number().positive().max(50).optional(),
        decelerationMPerS2: z.number().positive().max(50).optional(),
        reactionMs: z.number().min(0).max(60_000).optional(),
        standS: seconds.default(10).meta({ description: 'How long the web stands when a stop was asked for.' }),
      })
      .meta({ description: 'Absent ramps are those of the line profile.' }),
    truth,
    troubles: z.array(troubles).max(10_000).default([]),
    expect: expectation.optional(),
  })
  .meta({ id: 'Scenario', title: 'rollcall.scenario/1' })

export type Scenario = z.infer<typeof scenarioSchema>
export type Trouble = Scenario['troubles'][number]
export type TroubleKind = Trouble['kind']
export type TroubleOf<K extends TroubleKind> = Extract<Trouble, { readonly kind: K }>
export type Expectation = NonNullable<Scenario['expect']>
export type Tally = NonNullable<Expectation['wrongLays']>

/** The scenario with other serials: those that other runs laid would be duplicates. */
export function withSerialsFrom(scenario: Scenario, firstSerial: number | undefined): Scenario {
  const { truth } = scenario
  return firstSerial === undefined || truth.from !== 'jobs'
    ? scenario
    : { ...scenario, truth: { ...truth, firstSerial } }
}
