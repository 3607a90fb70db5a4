// The ticket, schema `rollcall.ticket/1`: what a roll is and how it will be run.
import * as z from 'zod'
import { digestPattern } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { stationKinds } from '../kernel/terms.ts'

const name = z
  .string()
  .min(1)
  .max(120)
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/)

// Two rows about one thing would leave open which of them counts.
const once = (names: readonly (string | number)[]): boolean => new Set(names).size === names.length

const foil = z
  .strictObject({
    station: z.enum(stationKinds),
    foil: name,
    shaft: name.optional(),
    leftMm: z.number().min(0).max(10_000).optional().meta({ description: 'Web x of the reel’s left edge, mm.' }),
    widthMm: z.number().positive().max(10_000).optional(),
    lengthM: z.number().positive().max(1_000_000).optional().meta({ description: 'Foil on the reel, m.' }),
  })
  .refine(({ leftMm, widthMm }) => (leftMm === undefined) === (widthMm === undefined), 'leftMm and widthMm go together')
  .meta({ id: 'Reel', description: 'A reel of foil on a shaft; without leftMm and widthMm it spans the whole web.' })

type Reel = z.infer<typeof foil>

// Reels side by side on one station: a whole-web reel stands alone, the others do not overlap.
function standApart(reels: readonly Reel[]): boolean {
  const byStation = new Map<string, Reel[]>()
  for (const reel of reels) byStation.set(reel.station, [...(byStation.get(reel.station) ?? []), reel])
  return [...byStation.values()].every((row) => {
    if (row.length === 1) return true
    const sorted = row.toSorted((a, b) => (a.leftMm ?? 0) - (b.leftMm ?? 0))
    return sorted.every((reel, i) => {
      const before = sorted[i - 1]
      if (reel.leftMm === undefined) return false
      return !before || (before.leftMm ?? 0) + (before.widthMm ?? 0) <= reel.leftMm
    })
  })
}

export const ticketSchema = z
  .strictObject({
    schema: z.literal('rollcall.ticket/1'),
    ticket: name,
    roll: name,
    jobs: z
      .array(
        z.strictObject({
          job: name,
          packages: z.array(z.int().min(1)).min(1).optional().meta({ description: 'Only versions of these packages.' }),
          pins: z
            .array(z.strictObject({ design: name, version: z.int().min(1) }))
            .refine((pins) => once(pins.map(({ design }) => design)), 'a design is pinned twice')
            .optional(),
          printVersion: name.optional().meta({ description: 'Where the code does not name the print version.' }),
        }),
      )
      .min(1)
      .max(64)
      .refine((jobs) => once(jobs.map(({ job }) => job)), 'a job is named twice'),
    substrate: name,
    thicknessMm: z.number().positive().max(10).optional(),
    material: z
      .strictObject({
        widthMm: z.number().positive().max(10_000).optional(),
        lengthM: z.number().positive().max(1_000_000).optional(),
        coreMm: z.number().positive().max(10_000).optional().meta({ description: 'Inner diameter of the core, mm.' }),
        coreOuterMm: z
          .number()
          .positive()
          .max(10_000)
          .optional()
          .meta({ description: 'Outer diameter of the core, mm.' }),
        diameterMm: z.number().positive().max(10_000).optional().meta({ description: 'Of the roll as it came, mm.' }),
        face: z.enum(['out', 'in']).optional(),
        splices: z.int().min(0).max(100_000).optional(),
      })
      .optional()
      .meta({ description: 'What the roll label says (GS1 AI 8001), or what was measured.' }),
    cells: z
      .array(z.int().min(1).max(limits.cellsMax))
      .min(1)
      .refine(once, 'a cell is named twice')
      .optional()
      .meta({ description: 'Cells of the frame that are on this roll (a slit roll); absent: all.' }),
    leadEdge: z.enum(['top', 'bottom', 'left', 'right']).optional().meta({
      description:
        'Edge of the label in the first cell, as one reads it, that runs first into the line; absent: its edge towards the top of the frame.',
    }),
    unwind: z
      .strictObject({ chart: name, number: z.int().min(0).max(99) })
      .optional()
      .meta({ description: 'A number of a chart that the line profile holds; stands for leadEdge and material.face.' }),
    direction: z
      .enum(['as-printed', 'reversed'])
      .default('as-printed')
      .meta({ description: 'Whether frames come in printed order or the other way round.' }),
    lanesMirrored: z.boolean().optional().meta({
      description: 'What a person saw along the travel, face up: lane 1 on the right; absent: worked out.',
    }),
    pass: z.int().min(1).max(16),
    expectedFrames: z.int().min(1).max(100_000_000).optional(),
    setUpM: z.number().min(0).max(100_000).optional().meta({ description: 'Web that set-up takes, m.' }),
    moduleMm: z.number().positive().max(50).optional().meta({ description: 'Size of one module of the code, mm.' }),
    regulated: z.boolean(),
    foils: z.array(foil).max(256).refine(standApart, 'reels of one station overlap').optional(),
    sequence: z
      .strictObject({ sha256: z.string().regex(digestPattern) })
      .optional()
      .meta({ description: 'CSV from the press: position, cell, code in printed order; stored before the ticket.' }),
  })
  .refine(({ unwind, leadEdge }) => !unwind || !leadEdge, {
    path: ['unwind'],
    message: 'a chart number stands for leadEdge; give one of the two',
  })
  .meta({ id: 'Ticket', title: 'rollcall.ticket/1' })

export type Ticket = z.infer<typeof ticketSchema>
