// Named acts on a run as they travel: who, why, and the second person where policy asks for one.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { causeSchema } from '../protocol/index.ts'
import { count, textUpTo, wellFormed } from './wire-parts.ts'

const personName = wellFormed(z.string().trim().min(1).max(limits.nameLengthMax))
const reason = wellFormed(z.string().trim().min(1).max(limits.reasonLengthMax))

/** Members of every act. That the second is another person is held where the act is recorded. */
export const person = {
  by: personName.meta({ description: 'Name of the person who acts' }),
  why: reason,
  second: personName
    .optional()
    .meta({ description: 'Name of a second person who looked too, where policy asks for one' }),
}

const optionalWhy = { ...person, why: person.why.optional() }

export const actSchema = z.strictObject(optionalWhy).meta({ id: 'Act' })
export const reasonedActSchema = z.strictObject(person).meta({ id: 'ReasonedAct' })

const laneNumber = z.int().min(1).max(limits.cellsMax)

export const comparedSchema = z
  .strictObject({ lane: laneNumber, frame: count, cell: z.int().min(1).max(limits.cellsMax) })
  .meta({ id: 'Compared', description: 'A set-up label that was laid, held against its code.' })

export const proveSchema = z
  .strictObject({
    ...optionalWhy,
    lanes: z.array(laneNumber).max(limits.cellsMax).optional(),
    compared: z.array(comparedSchema).max(limits.cellsMax).optional(),
  })
  .refine(({ lanes, compared }) => (lanes?.length ?? 0) + (compared?.length ?? 0) > 0, {
    path: ['lanes'],
    message: 'names no lane',
  })
  .meta({
    id: 'Prove',
    description:
      'A named person compared embellishment with code on each of these lanes; `compared` says on which label of a lane.',
  })

export const clearSchema = z
  .strictObject({
    ...person,
    cause: causeSchema,
    after: z.enum(['resume', 'skip-rest']).meta({
      description:
        'resume: the next label of this cause stops again; skip-rest: the rest of these labels skip without a stop',
    }),
  })
  .meta({ id: 'Clear' })

export const openRunSchema = z
  .strictObject({
    ticket: textUpTo(limits.nameLengthMax),
    line: textUpTo(limits.nameLengthMax),
    ...optionalWhy,
    override: z.boolean().optional().meta({ description: 'Open in spite of blockers; needs why' }),
  })
  .meta({ id: 'OpenRun' })

export const changeTicketSchema = z
  .strictObject({
    ticket: textUpTo(limits.nameLengthMax),
    ...person,
    override: z.boolean().optional().meta({ description: 'Change in spite of blockers' }),
  })
  .meta({
    id: 'ChangeTicket',
    description: 'The next ticket of the run: it holds for the frames that come from now on.',
  })
