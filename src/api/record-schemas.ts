// Schemas of what the roll record's routes answer.
import * as z from 'zod'
import { labelClasses } from '../runs/index.ts'

const count = z.int().min(0)
const lanes = z.array(z.int().min(1))

const origin = z.object({
  runId: z.string(),
  ticket: z.string(),
  roll: z.string().meta({ description: 'The roll that was unwound' }),
  pass: z.int(),
  fromMm: z.number().meta({ description: 'Encoder position of the first mark' }),
  toMm: z.number().meta({ description: 'Of the end of the last frame' }),
  firstFrame: count.optional(),
  lastFrame: count.optional(),
  frames: count,
})

export const finishedSchema = z
  .object({
    runId: z.string(),
    rethreadings: count.meta({ description: 'Web that passed while threading is not measured' }),
    rolls: z.array(
      z.object({
        roll: z.string(),
        lanes: lanes.optional().meta({ description: 'Absent: all' }),
        slitFrom: z.string().optional(),
        rewound: z.boolean().meta({ description: 'Its outside is what was wound first' }),
        lengthM: z.number(),
        frames: count,
        labels: count,
        toleranceM: z.object({ outside: z.number(), inside: z.number() }),
        outerFrame: count.optional(),
        innerFrame: count.optional(),
        joins: count,
        origins: z.array(origin).meta({ description: 'Back to what was unwound, in order of the web' }),
      }),
    ),
  })
  .meta({ id: 'FinishedRolls' })

const tally = {
  in: count,
  laid: count.meta({ description: 'Answered lay, not revoked, not reported none' }),
  skipped: count.meta({ description: 'Answered skip or stop, revoked, or reported none' }),
  setUp: count.meta({ description: 'Decided while proving alone' }),
  spoiled: count.meta({ description: 'Cut out, or reported laid in part, unknown, or against the answer' }),
  unaccounted: count.meta({ description: 'Without an answer' }),
  difference: z.int().meta({ description: 'in less all classes: 0, or the counting is wrong' }),
}

const expected = z.object({
  labels: count,
  missing: count.meta({ description: 'Recorded as missing before the sensor' }),
  difference: z.int().meta({ description: 'Expected, neither seen nor recorded as missing; below 0: more came' }),
})

export const reconciliationSchema = z
  .object({
    run: z.object({ ...tally, expected: expected.optional(), passedUnseen: count }),
    rolls: z.array(z.object({ roll: z.string(), lanes: lanes.optional(), ...tally })),
    cutOut: z.object(tally),
    rests: z.array(z.object({ roll: z.string(), ...tally })),
    designs: z.array(z.object({ job: z.string().optional(), design: z.string().optional(), ...tally })),
  })
  .meta({ id: 'Reconciliation' })

export const pullListSchema = z
  .object({
    runId: z.string(),
    sections: z.array(
      z.object({
        roll: z.string(),
        fromM: z.number().meta({ description: 'From the outside of the roll as it is wound, near end' }),
        toM: z.number(),
        toleranceM: z.number(),
        lanes,
        cells: z.array(z.int().min(1)),
        frames: count,
        labels: count,
        class: z.enum(labelClasses),
        what: z.string().meta({ description: 'Decision or report, and flags' }),
        firstFrame: count.optional(),
        lastFrame: count.optional(),
        codeBefore: z.string().optional().meta({ description: 'Of the nearest label met before that was read' }),
        framesBefore: count.optional(),
        codeFirst: z.string().optional(),
        codeLast: z.string().optional(),
        codeAfter: z.string().optional(),
        framesAfter: count.optional(),
      }),
    ),
  })
  .meta({ id: 'PullList' })

export const makeGoodSchema = z
  .object({
    runId: z.string(),
    labels: count,
    withCode: count,
    withoutCode: count,
    misprinted: count.meta({ description: 'Their print version fits no released version; in no list of codes' }),
    fromSequence: count.meta({ description: 'Of those with a code, known from the sequence of the ticket alone' }),
    laidOnce: count.meta({ description: 'Their serials count as laid: they need new ones' }),
    laidElsewhere: count,
    duplicates: count,
    ofOtherJobs: count,
    sections: z.array(
      z.object({
        firstFrame: count.optional(),
        lastFrame: count.optional(),
        positionMm: z.number(),
        cells: z.array(z.int().min(1)),
        labels: count,
      }),
    ),
    sectionsMore: count,
  })
  .meta({ id: 'MakeGood' })
