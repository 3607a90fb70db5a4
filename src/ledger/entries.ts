// Ledger entries (DESIGN §6): `{v, index, type, atMs, epoch, salt, body}`, strings and integers only, an absent value is an absent
// key. Lengths in µm, heights in µm, shares in ppm, times in UTC ms.
import * as z from 'zod'
import { digestPattern } from '../kernel/bytes.ts'
import { decisions, flags } from '../kernel/terms.ts'

export const entryTypes = ['step', 'frame', 'reads', 'answer', 'revocation', 'laid', 'material', 'act'] as const
export type EntryType = (typeof entryTypes)[number]

const int = z.int()
const count = z.int().min(0)
const text = z.string()
const digest = z.string().regex(digestPattern)

const read = z.strictObject({
  cell: count.optional(),
  lane: count.optional(),
  text: text.optional(),
  symbology: text.optional(),
  qualityPpm: count.optional(),
})

/** A set-up label whose embellishment a person held against its code. */
const comparedBody = z.strictObject({ lane: count, frame: count, cell: count })

/** Who acted and why; the second person where policy asks for one, and the keys that they acted with. */
const person = {
  by: text,
  why: text.optional(),
  second: text.optional(),
  key: text.optional(),
  secondKey: text.optional(),
}

export const materialEvents = [
  'splice',
  'cut-out',
  're-thread',
  'pitch-change',
  'foil',
  'split',
  'slit',
  'partial',
  'rewind',
  'void',
] as const

/** Why proving is asked for again; absent for the first and where a person asked. */
export const provingReasons = ['re-thread', 'pitch-change', 'slipped-count'] as const
export type ProvingReason = (typeof provingReasons)[number]

export const placementBody = z.strictObject({
  leftUm: int,
  topUm: int,
  widthUm: count,
  heightUm: count,
})

export const layerBody = z.strictObject({
  digest,
  layer: text,
  station: text,
  order: count,
  scope: z.enum(['cell', 'frame', 'common']),
  placement: placementBody,
})

export const identityBody = z.strictObject({
  job: text,
  design: text,
  text,
  print: text.optional(),
  serial: text.optional(),
  version: count.optional(),
})

export const causeBody = z.strictObject({
  flag: z.enum(flags),
  job: text.optional(),
  design: text.optional(),
  print: text.optional(),
})

export const runStates = ['ready', 'proving', 'open', 'stopped', 'closing', 'sealed', 'aborted'] as const

export const entryBodies = {
  /**
   * A change of the run's state, or one that leaves it: a clearing (`cause` and `after`), a change of ticket. The first one carries
   * all that the run was opened with, as canonical JSON texts; a change of ticket carries the next `ticket` and its `frozen`, which
   * hold for the frames after it.
   */
  step: z.strictObject({
    to: z.enum(runStates),
    ...person,
    ticket: text.optional(),
    line: text.optional(),
    /** Digests of frozen versions and their contents: a canonical JSON text. */
    frozen: text.optional(),
    override: text.optional(),
    /** Of the step from proving to open: the lanes compared, and on which labels where these were named. */
    lanes: z.array(count).optional(),
    compared: z.array(comparedBody).optional(),
    /** Of a step to proving. */
    again: z.enum(provingReasons).optional(),
    cause: causeBody.optional(),
    after: z.enum(['resume', 'skip-rest']).optional(),
    frame: count.optional(),
    cell: count.optional(),
  }),
  /**
   * A trigger with its position; `reads` where they came with it, `capture` where a picture did. `awaits`: more reads come apart from
   * it, from plain code readers.
   */
  frame: z.strictObject({
    frame: count,
    place: count,
    positionUm: int,
    markSpacingUm: count.optional(),
    capture: digest.optional(),
    reads: z.array(read).optional(),
    awaits: z.literal(1).optional(),
  }),
  /** What was read in a frame's picture; without `capture` all reads of a frame that awaited some. */
  reads: z.strictObject({ frame: count, capture: digest.optional(), reads: z.array(read) }),
  answer: z.strictObject({
    frame: count,
    place: count,
    cell: count,
    decision: z.enum(decisions),
    flags: z.array(z.enum(flags)),
    identity: identityBody.optional(),
    layers: z.array(layerBody),
    rotateDeg: z.union([z.literal(0), z.literal(90), z.literal(180), z.literal(270)]),
    noReturnUm: int,
    setup: z.literal(1).optional(),
    /** Of a `stop`: what it was asked for; it opens this cause. */
    cause: causeBody.optional(),
  }),
  /** Turns an earlier `lay` into `skip` before its point of no return. `answer` is the index of the answer's entry. */
  revocation: z.strictObject({ answer: count, frame: count, cell: count, flag: z.enum(flags) }),
  laid: z.strictObject({ frame: count, cell: count, laid: z.enum(['full', 'part', 'none', 'unknown']) }),
  material: z.strictObject({
    event: z.enum(materialEvents),
    positionUm: int.optional(),
    /** `cut-out`: the end of what was taken out after the stations; without it, what is missing lies before the sensor. */
    toPositionUm: int.optional(),
    frames: count.optional(),
    station: text.optional(),
    foil: text.optional(),
    /** `foil`: where the reel lies across the web; absent: the whole web. */
    leftUm: int.optional(),
    widthUm: count.optional(),
    /** `split`: the finished roll that ends here. `slit`, `rewind`: the finished roll meant. `partial`: what the rest is called. */
    roll: text.optional(),
    /** `slit`: the lane rolls that a finished roll was slit into. */
    laneRolls: z.array(z.strictObject({ roll: text, lanes: z.array(count) })).optional(),
    /** `void`: ledger index of an earlier event that was recorded wrongly; whoever reads events leaves that one out. */
    voids: count.optional(),
    note: text.optional(),
    by: text.optional(),
    second: text.optional(),
    key: text.optional(),
    secondKey: text.optional(),
  }),
  /** A named act from outside the run that touches it, such as a withdrawal. */
  act: z.strictObject({
    act: z.enum(['withdraw', 'recover', 'note']),
    ...person,
    job: text.optional(),
    design: text.optional(),
    version: count.optional(),
  }),
} as const satisfies Record<EntryType, z.ZodType>

export type EntryBodies = { [T in EntryType]: z.infer<(typeof entryBodies)[T]> }

/** An entry before it has its place in the ledger. */
export type EntryDraft = { [T in EntryType]: { readonly type: T; readonly body: EntryBodies[T] } }[EntryType]

/** An entry as it stands in the ledger. */
export type Entry = EntryDraft & {
  readonly v: 1
  readonly index: number
  readonly atMs: number
  readonly epoch: number
  /** 16 random bytes, hex: keeps a leaf hash from telling its entry. */
  readonly salt: string
}
