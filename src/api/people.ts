// What a caller may touch and in whose name: a line's key touches its own line only, a personal key signs for its person alone, and
// some acts take two people.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import { getTicket } from '../lines/index.ts'
import { type Holder, isSameName, type TwoPersonAct } from '../people/index.ts'
import type { Caller } from './callers.ts'
import type { ApiParts } from './parts.ts'

/** What of a route is an act in somebody's name; `plain` never takes two. */
export type NamedAct = TwoPersonAct | 'open' | 'plain'

/** What is recorded of the keys that signed an act, beside `by`. */
export interface Signature {
  readonly key?: string
  readonly second?: string
  readonly secondKey?: string
}

type Given = Readonly<Record<string, unknown>>
export interface Asked {
  readonly params?: unknown
  readonly query?: unknown
  readonly body?: unknown
}

const textsIn = (part: unknown, name: string): string[] => {
  const value = part && typeof part === 'object' && !Array.isArray(part) ? (part as Given)[name] : undefined
  return typeof value === 'string' ? [value] : []
}
const named = ({ params, query, body }: Asked, name: string): string[] =>
  [params, query, body].flatMap((part) => textsIn(part, name))

const runsKnownMax = 10_000

export type LineOfRun = (runId: string) => Promise<string | undefined>

/** Which line a run is on; kept in memory, since a run never changes its line. */
export function openLineOfRun({ database }: Pick<ApiParts, 'database'>): LineOfRun {
  const known = new Map<string, string>()
  return async (runId) => {
    const held = known.get(runId)
    if (held !== undefined) return held
    const rows = database.catalogue.selectFrom('runs').select('line').where('runId', '=', runId)
    const line = (await rows.executeTakeFirst())?.line
    if (line === undefined) return undefined
    if (known.size >= runsKnownMax) known.clear()
    known.set(runId, line)
    return line
  }
}

/**
 * Refuses a line's key on what belongs to another line, or to none: a run that does not exist is refused in the same words, so that
 * nobody learns which ones do. Problem `forbidden`.
 */
export async function demandOwnLine(caller: Caller, asked: Asked, lineOfRun: LineOfRun): Promise<void> {
  for (const holder of [caller.key, caller.second]) {
    if (holder?.role !== 'line') continue
    const lines: (string | undefined)[] = named(asked, 'line')
    for (const runId of named(asked, 'runId')) lines.push(await lineOfRun(runId))
    if (lines.some((line) => line !== holder.line))
      throw new Problem('forbidden', `the key is for line ${holder.line} only`, { limit: holder.line ?? '' })
  }
}

/** Whether a caller may see what belongs to this line. */
export const maySeeLine = ({ key }: Caller, line: string): boolean => key?.role !== 'line' || key.line === line

/** As `heldTo` sends it. */
export const onlyLine = z
  .string()
  .optional()
  .meta({ description: 'With a key of role line: nothing of others is listed' })

/** Of a list that leaves out what belongs to other lines: which line it is held to, so that nobody takes it for all there is. */
export const heldTo = ({ key }: Caller): { readonly onlyLine?: string } =>
  key?.role === 'line' && key.line !== undefined ? { onlyLine: key.line } : {}

/** With a personal key `by` may be left out: fills it in. */
export const withPerson = (caller: Caller, value: unknown): unknown => {
  const person = caller.key?.person
  if (person === undefined || typeof value !== 'object' || value === null || Array.isArray(value)) return value
  return (value as Given).by === undefined ? { ...value, by: person } : value
}

/** A personal key acts in the name of its person only. Problem `by-differs`. */
export function demandOwnName({ key }: Caller, asked: Asked): void {
  if (key?.person === undefined) return
  for (const by of [...textsIn(asked.query, 'by'), ...textsIn(asked.body, 'by')]) {
    if (!isSameName(by, key.person))
      throw new Problem('by-differs', `the key is that of ${key.person}`, {
        pointer: '/by',
        measured: by,
        limit: key.person,
      })
  }
}

// Of any ticket that the run has had, since each has labels on the web, and of one that it is opened with or changed to.
async function isRegulated({ runs, database }: SignParts, asked: Asked): Promise<boolean> {
  const [runId] = textsIn(asked.params, 'runId')
  if (runId !== undefined && (await runs.get(runId)).state.tickets.some(({ ticket }) => ticket.regulated)) return true
  const [ticket] = textsIn(asked.body, 'ticket')
  return ticket !== undefined && (await getTicket({ database }, ticket)).content.regulated
}

type SignParts = Pick<ApiParts, 'runs' | 'database' | 'policy' | 'keys'>

async function takesTwo(parts: SignParts, act: TwoPersonAct | undefined, asked: Asked): Promise<boolean> {
  if (act === undefined) return false
  const { twoPersons, twoPersonsRegulated } = parts.policy
  return (
    twoPersons.includes(act) || (twoPersonsRegulated.some((name) => name === act) && (await isRegulated(parts, asked)))
  )
}

function actOf(act: NamedAct, body: unknown): TwoPersonAct | undefined {
  if (act === 'plain') return undefined
  if (act !== 'open') return act
  return (body as { override?: boolean }).override ? 'override' : undefined
}

const same = (detail: string): Problem => new Problem('second-person-same', detail, { pointer: '/second' })

// The second key is another person's own; its person is the second one, whether named in the body or not.
function secondByKey(caller: Caller, second: Holder, name: string | undefined): string {
  if (second.person === undefined)
    throw new Problem('second-person-needed', 'the second key is nobody’s own', { pointer: '/second' })
  if (caller.key?.id === second.id) throw same('the second key is the first one')
  if (name !== undefined && !isSameName(name, second.person))
    throw new Problem('by-differs', `the second key is that of ${second.person}`, {
      pointer: '/second',
      measured: name,
      limit: second.person,
    })
  return second.person
}

/**
 * Who signs an act: the keys, and the second person where one is named or policy asks for one. Problems `second-person-needed`,
 * `second-person-same`, `by-differs`.
 */
export async function signatureOf(
  parts: SignParts,
  { caller, act, asked }: { caller: Caller; act: NamedAct; asked: Asked },
): Promise<Signature> {
  const body = (asked.body ?? {}) as { by?: string; second?: string }
  const wanted = actOf(act, asked.body)
  const needed = await takesTwo(parts, wanted, asked)
  const { second: other } = caller
  if (needed && parts.keys.isRequired() && !other) {
    throw new Problem('second-person-needed', `${wanted} takes a second person's own key in Rollcall-Second-Key`, {
      pointer: '/second',
    })
  }
  const second = other ? secondByKey(caller, other, body.second) : body.second
  if (needed && second === undefined)
    throw new Problem('second-person-needed', `${wanted} takes a second person`, { pointer: '/second' })
  if (second !== undefined && body.by !== undefined && isSameName(second, body.by))
    throw same('the second person is the first one')
  return {
    ...(caller.key ? { key: caller.key.id } : {}),
    ...(second === undefined ? {} : { second }),
    ...(other ? { secondKey: other.id } : {}),
  }
}
