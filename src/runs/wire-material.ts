// Events of the material as they travel, and as the ledger holds them.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { stationKinds } from '../kernel/terms.ts'
import type { EntryBodies } from '../ledger/index.ts'
import { person } from './wire-acts.ts'
import { count, positionMm, textUpTo, toMm, toUm } from './wire-parts.ts'

const rollName = z
  .string()
  .min(1)
  .max(limits.nameLengthMax)
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/)

type Event = EntryBodies['material']['event']

/** Members that an event must have, and those that it may have; position, frames, note and people go with each. */
const members: Readonly<Record<Event, { readonly must: readonly string[]; readonly may: readonly string[] }>> = {
  splice: { must: [], may: [] },
  'cut-out': { must: [], may: ['toPositionMm'] },
  're-thread': { must: [], may: [] },
  'pitch-change': { must: [], may: [] },
  foil: { must: ['station'], may: ['foil', 'leftMm', 'widthMm'] },
  split: { must: ['positionMm', 'roll'], may: [] },
  slit: { must: ['laneRolls'], may: ['roll'] },
  partial: { must: ['positionMm', 'roll'], may: [] },
  rewind: { must: [], may: ['roll'] },
  void: { must: ['voids'], may: [] },
}

const special = ['toPositionMm', 'station', 'foil', 'leftMm', 'widthMm', 'roll', 'laneRolls', 'voids'] as const

const shape = z.strictObject({
  event: z.enum(Object.keys(members) as [Event, ...Event[]]),
  positionMm: positionMm.optional().meta({
    description: 'Where, in encoder mm; absent of splice, pitch-change and cut-out: where the last frame was',
  }),
  toPositionMm: positionMm.optional().meta({
    description:
      'Of a cut-out: the end of what was taken out after laying; absent: frames were missing before the sensor',
  }),
  frames: count.max(1_000_000).optional().meta({ description: 'Frames that are missing from the web here' }),
  station: z.enum(stationKinds).optional(),
  foil: textUpTo(limits.nameLengthMax).optional().meta({ description: 'Foil now threaded; absent: none' }),
  leftMm: z.number().min(0).max(10_000).optional().meta({
    description: 'Of a reel: web x of its left edge, face up, as the web travels, mm; absent: the whole web',
  }),
  widthMm: z.number().positive().max(10_000).optional(),
  roll: rollName.optional().meta({
    description:
      'split: the finished roll that ends here; slit, rewind: the finished roll meant; partial: what the rest is called',
  }),
  laneRolls: z
    .array(z.strictObject({ roll: rollName, lanes: z.array(z.int().min(1).max(limits.cellsMax)).min(1).max(256) }))
    .min(1)
    .max(limits.cellsMax)
    .optional()
    .meta({ description: 'Of a slit: the lane rolls, each with its lanes' }),
  voids: count.optional().meta({ description: 'Of a void: ledger index of the event that was recorded wrongly' }),
  note: textUpTo(limits.reasonLengthMax).optional(),
  by: person.by.optional(),
  second: person.second,
})

export const materialSchema = shape
  .superRefine((value, context) => {
    const { must, may } = members[value.event]
    const tell = (path: string, message: string): void => context.addIssue({ code: 'custom', path: [path], message })
    const given = value as Readonly<Record<string, unknown>>
    for (const name of must) if (given[name] === undefined) tell(name, `an event ${value.event} names ${name}`)
    for (const name of special) {
      const isStrange = given[name] !== undefined && !must.includes(name) && !may.includes(name)
      if (isStrange) tell(name, `an event ${value.event} has no ${name}`)
    }
    if ((value.leftMm === undefined) !== (value.widthMm === undefined))
      tell('widthMm', 'leftMm and widthMm go together')
    if (value.toPositionMm !== undefined && value.positionMm === undefined)
      tell('positionMm', 'what was taken out begins somewhere')
    if (value.event === 'cut-out' && value.toPositionMm === undefined && value.frames === 0)
      tell('frames', 'a cut-out of no frames took nothing out')
  })
  .meta({ id: 'MaterialEvent' })

export type MaterialEvent = z.infer<typeof materialSchema>

const lengths = {
  positionMm: 'positionUm',
  toPositionMm: 'toPositionUm',
  leftMm: 'leftUm',
  widthMm: 'widthUm',
} as const

/** An event as the ledger holds it: µm, and an absent value is an absent key. */
export function toMaterial(event: MaterialEvent): EntryBodies['material'] {
  const rows = Object.entries(event)
    .filter(([, value]) => value !== undefined)
    .map(([name, value]) => {
      const inUm = lengths[name as keyof typeof lengths]
      return inUm ? [inUm, toUm(value as number)] : [name, value]
    })
  return Object.fromEntries(rows) as EntryBodies['material']
}

const unit = Object.fromEntries(Object.entries(lengths).map(([mm, um]) => [um, mm]))

/** An event of the ledger as it travels; keys of people stay there. */
export function fromMaterial({ key, secondKey, ...body }: EntryBodies['material']): MaterialEvent {
  const rows = Object.entries(body).map(([name, value]) => {
    const inMm = unit[name]
    return inMm ? [inMm, toMm(value as number)] : [name, value]
  })
  return Object.fromEntries(rows) as MaterialEvent
}
