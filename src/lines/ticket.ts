// The ticket, schema `rollcall.ticket/1`: what a roll is and how it will be run.
import * as z from 'zod'
import { stationKinds } from '../kernel/terms.ts'

const name = z
  .string()
  .min(1)
  .max(120)
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/)

// Two rows about one thing would leave open which of them counts.
const once = (names: readonly string[]): boolean => new Set(names).size === names.length

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
        face: z.enum(['out', 'in']).optional(),
        splices: z.int().min(0).max(100_000).optional(),
      })
      .optional()
      .meta({ description: 'What the roll label says (GS1 AI 8001), or what was measured.' }),
    leadEdge: z
      .enum(['top', 'bottom'])
      .default('top')
      .meta({ description: 'Which edge of the frame as printed runs first.' }),
    pass: z.int().min(1).max(16),
    expectedFrames: z.int().min(1).max(100_000_000).optional(),
    regulated: z.boolean(),
    foils: z
      .array(z.strictObject({ station: z.enum(stationKinds), foil: name }))
      .refine((foils) => once(foils.map(({ station }) => station)), 'a station has one foil at a time')
      .optional(),
  })
  .meta({ id: 'Ticket', title: 'rollcall.ticket/1' })

export type Ticket = z.infer<typeof ticketSchema>
