// The route of a day's order: stored tickets of a line, ordered so that foil, pitch and roll changes cost least.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { stationKinds } from '../kernel/terms.ts'
import {
  type DayTicket,
  dayMinutesOf,
  dayTicketOf,
  dayTicketsMax,
  demandPlace,
  getLine,
  getTicket,
  type LineProfile,
  orderDayInTurns,
  threadedReel,
} from '../lines/index.ts'
import { roles } from '../people/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const name = z.string().min(1).max(limits.nameLengthMax)
const placeMm = z.number().min(0).max(10_000)

const threaded = z
  .strictObject({
    station: z.enum(stationKinds),
    shaft: name.optional(),
    foil: name,
    leftMm: placeMm.optional(),
    widthMm: z.number().positive().max(10_000).optional(),
  })
  .refine(({ leftMm, widthMm }) => (leftMm === undefined) === (widthMm === undefined), 'leftMm and widthMm go together')
  .meta({ id: 'ThreadedReel', description: 'Without leftMm and widthMm it spans the web, however wide.' })

const orderSchema = z
  .strictObject({
    tickets: z.array(name).min(1).max(dayTicketsMax).meta({ description: 'Names of stored tickets, as given.' }),
    threaded: z
      .array(threaded)
      .max(256)
      .optional()
      .meta({ description: 'What hangs on the line now; absent: nothing.' }),
    pitchMm: z.number().positive().max(100_000).optional().meta({
      description: 'Pitch that the line is set to; absent: the first ticket’s pitch costs no change.',
    }),
    fixedFirst: z.boolean().optional().meta({ description: 'The first ticket stays the first.' }),
  })
  .meta({ id: 'DayOrderInquiry' })

const reel = z
  .object({
    station: z.string(),
    shaft: z.string().meta({ description: 'Empty where neither ticket nor line profile names one.' }),
    foil: z.string(),
    leftMm: z.number(),
    widthMm: z.number().optional(),
    wholeWeb: z.boolean(),
  })
  .meta({ id: 'DayReel' })

const fromTo = <T extends z.ZodType>(of: T) => z.object({ from: of, to: of }).optional()
const minutes = {
  minutes: z.number(),
  setUpMinutes: z.number(),
  foilMinutes: z.number(),
  pitchMinutes: z.number(),
  rollMinutes: z.number(),
}

const step = z
  .object({
    ticket: z.string(),
    ...minutes,
    putUp: z.array(reel).meta({ description: 'Reels that do not hang there already.' }),
    takenOff: z.array(reel),
    pitchMm: fromTo(z.number()),
    roll: fromTo(z.string()),
    webWidthMm: fromTo(z.number()),
    substrate: fromTo(z.string()),
  })
  .meta({ id: 'DayStep', description: 'What is changed on the line before a ticket, and what that takes.' })

const plan = z.object({ ...minutes, steps: z.array(step) }).meta({ id: 'DayPlan' })

const orderedSchema = z
  .object({
    line: z.string(),
    given: plan,
    givenOutOfPass: z.array(z.string()).meta({
      description: 'Tickets that stand before an earlier pass of their roll in the order as given.',
    }),
    proposed: plan,
    method: z.enum(['exact', 'search']),
    arrangements: z.int().meta({ description: 'Different ways in which the tickets want the line.' }),
    costMinutes: z.number(),
    lowerBoundMinutes: z.number().meta({ description: 'No order that keeps the passes takes less.' }),
    gapMinutes: z.number().meta({ description: 'The proposed order takes at most so much longer than the best.' }),
    exact: z.boolean().meta({ description: 'No order takes less than the proposed one.' }),
  })
  .meta({ id: 'DayOrder' })

async function ticketsOf(parts: ApiParts, line: LineProfile, names: readonly string[]): Promise<DayTicket[]> {
  const catalogue = parts.catalogue.current()
  const tickets: DayTicket[] = []
  for (const one of names) tickets.push(dayTicketOf({ catalogue, line }, (await getTicket(parts, one)).content))
  return tickets
}

export const dayOrderRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'post',
    path: '/lines/:line/order',
    tag: 'lines',
    summary: 'Order stored tickets so that foil, pitch and roll changes cost least; nothing is stored',
    roles,
    params: z.object({ line: name }),
    body: orderSchema,
    returns: [{ status: 200, description: 'The order as given and the one proposed', schema: orderedSchema }],
    problems: ['line-not-found', 'ticket-not-found', 'package-not-found', 'not-ready'],
    async handle({ params, body }) {
      const { content: line } = await getLine(parts, params.line)
      const reels = body.threaded ?? []
      for (const [i, row] of reels.entries()) demandPlace(line, row, `/threaded/${i}`)
      const ordered = await orderDayInTurns({
        tickets: await ticketsOf(parts, line, body.tickets),
        minutes: dayMinutesOf(line),
        start: {
          reels: reels.map((row) => threadedReel(line, row)),
          ...(body.pitchMm === undefined ? {} : { pitchMm: body.pitchMm }),
        },
        fixedFirst: body.fixedFirst ?? false,
      })
      return { json: { line: line.line, ...ordered } }
    },
  }),
]
