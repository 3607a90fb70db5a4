// What-if: a ticket with something changed, for the sums alone; nothing is stored.
import * as z from 'zod'
import { type Ticket, ticketSchema } from '../ticket.ts'

export const whatIfSchema = z
  .strictObject({
    speedMPerMin: z.number().positive().max(2_000).optional(),
    foils: ticketSchema.shape.foils,
    frames: z.int().min(1).max(100_000_000).optional(),
    thicknessMm: z.number().positive().max(10).optional(),
  })
  .meta({
    id: 'WhatIf',
    description:
      'Speed to run at, reels instead of the ticket’s, frames instead of those expected, another web thickness.',
  })

export type WhatIf = z.infer<typeof whatIfSchema>

/** The ticket as it would be. */
export const withWhatIf = (ticket: Ticket, { foils, thicknessMm }: WhatIf = {}): Ticket => ({
  ...ticket,
  ...(foils ? { foils } : {}),
  ...(thicknessMm === undefined ? {} : { thicknessMm }),
})
