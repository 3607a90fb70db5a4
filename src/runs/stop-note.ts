// What a person needs to know of a stop, in one line of a log: where, which label, why, and what mends it.
import type { Flag } from '../kernel/terms.ts'
import type { Entry } from '../ledger/index.ts'
import { type RunState, ticketAt } from './state.ts'
import { toMm } from './wire.ts'

export interface StopNote {
  readonly run: string
  readonly ticket: string
  readonly roll: string
  readonly line: string
  readonly pass: number
  readonly flag: Flag
  /** What one clearing ends: flag, job, design, print version. */
  readonly cause: string
  readonly mend: string
  /** Of the label that asked for it; absent for a recall, which asks by itself. */
  readonly frame?: number
  readonly cell?: number
  readonly lane?: number
  readonly place?: number
  readonly positionMm?: number
  readonly noReturnMm?: number
  readonly job?: string
  readonly design?: string
  readonly print?: string
  readonly version?: number
  /** The code that was read. */
  readonly text?: string
  /** Of a recall. */
  readonly by?: string
  readonly why?: string
  /** All flags of the label. */
  readonly flags?: readonly Flag[]
}

const mends: Readonly<Record<Flag, string>> = {
  'no-read': 'look at the reader: light, aim, dirt, its cable; look at the print',
  inferred: 'find out why these labels are not read',
  'unknown-code': 'look at the labels: another job’s roll, or print that no rule takes',
  'other-job': 'take the other job’s labels off, or go on with a ticket that names the job',
  'print-version-mismatch': 'release a version that fits this print version, or take the roll off',
  superseded: 'unpin the version on the ticket, or let the newer one be withdrawn',
  withdrawn: 'the version was recalled: publish and release a new one, or let these labels pass without',
  'not-released': 'release the version, once its proof is approved',
  'missing-layer': 'publish the package again: a stored layer file is gone',
  'damaged-layer': 'publish the package again: a stored layer file no longer matches its digest',
  'no-foil': 'thread the foil where the layer lies, and record it as an event of the material',
  jumped: 'look where on the roll the web is: a splice, or labels missing',
  'out-of-sequence': 'look at the eye marks and the web: the count slipped, or two readings contradict each other',
  duplicate: 'find out why serials come twice: a roll run again, or printed twice',
  'already-laid': 'the web was backed up over labels that are laid: go on forwards',
  'pass-mismatch': 'compare roll and ticket with the earlier pass: another roll, or labels laid otherwise',
  'low-quality': 'look at the print and at the reader before codes fail',
  late: 'reads come too late: slow the line, or look at reader, network and load',
}

const textOf = (cause: object): string => Object.values(cause).join('/')

// What no job knows is told by the reads alone, which were written just before the answer.
function textRead(
  entries: readonly Entry[],
  of: { frame: number; cell: number; lane: number | undefined },
): string | undefined {
  for (const entry of entries) {
    if ((entry.type !== 'frame' && entry.type !== 'reads') || entry.body.frame !== of.frame) continue
    const mine = (entry.body.reads ?? []).filter(({ cell, lane }) =>
      cell === undefined ? lane === undefined || lane === of.lane : cell === of.cell,
    )
    const text = mine.find((read) => read.text !== undefined)?.text
    if (text !== undefined) return text
  }
  return undefined
}

type Noted = Pick<StopNote, 'run' | 'line' | 'pass'>

function noteOfAnswer(
  noted: Noted,
  { state, entries }: { state: RunState; entries: readonly Entry[] },
  body: Extract<Entry, { type: 'answer' }>['body'],
): StopNote[] {
  const { cause, frame, cell, place, identity, flags, noReturnUm } = body
  const record = state.frames.get(frame)
  if (!cause || !record) return []
  const { ticket, roll } = ticketAt(state, record.entryIndex)
  const lane = state.cells.find((row) => row.cell === cell)?.lane
  const { job, design, print } = identity ?? cause
  const text = identity?.text ?? textRead(entries, { frame, cell, lane })
  return [
    {
      ...noted,
      ticket,
      roll,
      flag: cause.flag,
      cause: textOf(cause),
      frame,
      cell,
      ...(lane === undefined ? {} : { lane }),
      place,
      positionMm: toMm(record.positionUm),
      noReturnMm: toMm(noReturnUm),
      ...given({ job, design, print, version: identity?.version, text }),
      flags,
      mend: mends[cause.flag],
    },
  ]
}

type Named = Pick<StopNote, 'job' | 'design' | 'print' | 'version' | 'text' | 'by' | 'why'>

const given = (of: { [K in keyof Named]: Named[K] | undefined }): Named =>
  Object.fromEntries(Object.entries(of).filter(([, value]) => value !== undefined))

/** The stops that these durable entries asked for, in order. A step behind an answer repeats its stop and is left out. */
export function stopNotes(
  { runId, state }: { readonly runId: string; readonly state: RunState },
  entries: readonly Entry[],
) {
  const noted = { run: runId, line: state.line.line, pass: state.ticket.pass }
  return entries.flatMap((entry): StopNote[] => {
    if (entry.type === 'answer') return noteOfAnswer(noted, { state, entries }, entry.body)
    if (entry.type !== 'step') return []
    const { cause, after, frame, by, why } = entry.body
    if (!cause || after || frame !== undefined) return []
    const { ticket, roll } = state.ticket
    const { flag, job, design, print } = cause
    const named = given({ job, design, print, by, why })
    return [{ ...noted, ticket, roll, flag, cause: textOf(cause), ...named, mend: mends[flag] }]
  })
}
