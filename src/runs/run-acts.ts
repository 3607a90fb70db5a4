// What named people and the line do to a run: proving, stops, the material, the next ticket, its end. Each demands a state, checks, and
// writes; the run itself appends and folds.
import { Problem } from '../kernel/problem.ts'
import type { EntryBodies, EntryDraft } from '../ledger/index.ts'
import type { Ticket } from '../lines/index.ts'
import { isSameName } from '../people/index.ts'
import type { LedgerHead } from '../storage/port.ts'
import { checkMaterial, demandRestFree } from './material.ts'
import { placed } from './material-places.ts'
import type { MaterialBody } from './material-record.ts'
import { checkFoil } from './reels.ts'
import { openSetUp, provableLanes } from './set-up.ts'
import { lanesOf, type RunState, type RunStateName } from './state.ts'

export interface ActsOn {
  readonly state: RunState
  write(drafts: readonly EntryDraft[]): { readonly durable: Promise<LedgerHead> }
}

/** Who acts, with the second person and the keys where there are such. */
export interface Person {
  readonly by: string
  readonly why?: string
  readonly second?: string
  readonly key?: string
  readonly secondKey?: string
}

export const takesFrames: ReadonlySet<RunStateName> = new Set(['proving', 'open', 'stopped'])

/** Problem `run-state` unless the run is in one of these states. */
export function demandState(state: RunState, allowed: ReadonlySet<RunStateName>): void {
  if (allowed.has(state.name)) return
  throw new Problem('run-state', `run ${state.runId} is ${state.name}`, {
    measured: state.name,
    limit: [...allowed].join(', '),
  })
}

/** Problem `second-person-same` where one person is named as both. */
export function demandTwo({
  by,
  second,
}: {
  readonly by?: string | undefined
  readonly second?: string | undefined
}): void {
  if (by === undefined || second === undefined || !isSameName(by, second)) return
  throw new Problem('second-person-same', 'the second person is the one who acts', { pointer: '/second' })
}

/** The members of an entry that say who acted; nothing else of the act gets into the ledger by chance. */
export function personOf({ by, why, second, key, secondKey }: Person): Person {
  demandTwo({ by, second })
  return {
    by,
    ...(why === undefined ? {} : { why }),
    ...(second === undefined ? {} : { second }),
    ...(key === undefined ? {} : { key }),
    ...(secondKey === undefined ? {} : { secondKey }),
  }
}

const step = (to: RunStateName, act: Person, more: Partial<EntryBodies['step']> = {}): EntryDraft => ({
  type: 'step',
  body: { ...more, to, ...personOf(act) },
})

const withMaterial = new Set<RunStateName>(['ready', ...takesFrames, 'closing'])
/** Events that change how the run goes on; once it is closed it goes on no more. */
const changesRunning: ReadonlySet<MaterialBody['event']> = new Set(['re-thread', 'pitch-change', 'foil'])

/** An event of the material. Re-threading and a pitch change ask for proving again: a slip by one frame would look perfect. */
export async function recordMaterial({ state, write }: ActsOn, given: MaterialBody): Promise<void> {
  const { event } = given
  const running = new Set<RunStateName>(['ready', ...takesFrames])
  demandState(state, changesRunning.has(event) ? running : withMaterial)
  demandTwo(given)
  if (event === 'foil') checkFoil(state.reels, given)
  const body = checkMaterial(state, placed(state, given))
  const drafts: EntryDraft[] = [{ type: 'material', body }]
  if ((event === 're-thread' || event === 'pitch-change') && takesFrames.has(state.name)) {
    drafts.push(step('proving', { by: body.by ?? 'line', why: event }, { again: event }))
  }
  await write(drafts).durable
}

/** ready → proving, or proving again. */
export async function startProving({ state, write }: ActsOn, act: Person): Promise<void> {
  demandState(state, new Set(['ready', 'open', 'stopped']))
  await write([step('proving', act)]).durable
}

export type Compared = NonNullable<EntryBodies['step']['compared']>[number]

export interface ProveAct extends Person {
  readonly lanes?: readonly number[]
  /** The label that was looked at, by lane. */
  readonly compared?: readonly Compared[]
}

// A compared label was answered `lay` while this proving went on, and nothing has said since that it was not laid.
function demandCompared(state: RunState, { lane, frame: number, cell }: Compared): void {
  const ordinal = state.cells.findIndex((candidate) => candidate.cell === cell)
  const refuse = (why: string): Problem =>
    new Problem('lanes-not-proved', `frame ${number}, cell ${cell} proves nothing of lane ${lane}: ${why}`, {
      measured: `${number}/${cell}`,
    })
  if (state.cells[ordinal]?.lane !== lane) throw refuse('the cell is not in that lane')
  const frame = state.frames.get(number)
  const since = openSetUp(state.setUps)?.began.index ?? Number.POSITIVE_INFINITY
  if (frame?.answersAt === undefined || frame.answersAt < since)
    throw refuse('it is no set-up label since proving began')
  const stands = state.places.state(frame.place, ordinal) === 'lay'
  if (!stands || state.places.answer(frame.place, ordinal) !== frame.answersAt + ordinal)
    throw refuse('it was not laid')
}

/** proving → open, when a named person compared every lane and each had a set-up label laid. */
export async function prove({ state, write }: ActsOn, act: ProveAct): Promise<void> {
  demandState(state, new Set(['proving']))
  const open = state.causes.opened()
  if (open.length > 0)
    throw new Problem('run-state', 'clear the open stops before proving ends', { measured: open.length, limit: 0 })
  const { compared = [] } = act
  const named = new Set([...(act.lanes ?? []), ...compared.map(({ lane }) => lane)])
  const all = lanesOf(state)
  const strange = [...named].filter((lane) => !all.includes(lane))
  if (strange.length > 0) {
    const [measured, limit] = [strange.join(', '), all.join(', ')]
    throw new Problem('lanes-not-proved', `the run has no lane ${measured}; its lanes are ${limit}`, {
      measured,
      limit,
    })
  }
  const missing = all.filter((lane) => !named.has(lane))
  if (missing.length > 0)
    throw new Problem('lanes-not-proved', `lanes not compared: ${missing.join(', ')}`, { limit: all.join(', ') })
  const provable = provableLanes(openSetUp(state.setUps))
  const unlaid = all.filter((lane) => !provable.includes(lane))
  if (unlaid.length > 0)
    throw new Problem('lanes-not-proved', `no set-up label was laid on lanes ${unlaid.join(', ')} yet`)
  for (const label of compared) demandCompared(state, label)
  const lanes = [...named].toSorted((a, b) => a - b)
  const looked = compared.map(({ lane, frame, cell }) => ({ lane, frame, cell }))
  await write([step('open', act, { lanes, ...(looked.length > 0 ? { compared: looked } : {}) })]).durable
}

export interface ClearAct extends Person {
  readonly why: string
  readonly cause: EntryBodies['answer']['cause'] & {}
  readonly after: 'resume' | 'skip-rest'
}

/** Clears one stop cause; the run opens again when none is left. */
export async function clear({ state, write }: ActsOn, act: ClearAct): Promise<void> {
  const { cause, after } = act
  if (state.causes.status(cause) !== 'open') {
    throw new Problem('cause-not-open', `no stop for ${Object.values(cause).join(' / ')} is open`)
  }
  demandState(state, takesFrames)
  const isLast = state.causes.opened().length === 1
  const to = state.name === 'stopped' && isLast ? 'open' : state.name
  await write([step(to, act, { cause, after })]).durable
}

export interface RecallAct extends Person {
  readonly why: string
  readonly job: string
  readonly design: string
  readonly version: number
}

/** A recall: revokes what can still be kept off the web and asks for one stop. Returns what was too late to revoke. */
export async function recall({ state, write }: ActsOn, act: RecallAct): Promise<{ revoked: number }> {
  if (!takesFrames.has(state.name) && state.name !== 'ready') return { revoked: 0 }
  const { job, design, version } = act
  const mine = state.live.filter((lay) => lay.job === job && lay.design === design && lay.version === version)
  const drafts: EntryDraft[] = [{ type: 'act', body: { act: 'withdraw', job, design, version, ...personOf(act) } }]
  for (const { answer, frame, cell } of mine)
    drafts.push({ type: 'revocation', body: { answer, frame, cell, flag: 'withdrawn' } })
  const to = state.name === 'open' ? 'stopped' : state.name
  if (to !== 'ready') drafts.push(step(to, act, { cause: { flag: 'withdrawn', job, design } }))
  await write(drafts).durable
  return { revoked: mine.length }
}

/** Ends the taking of frames. Problem `run-state` while pictures are still being read. */
export async function close({ state, write }: ActsOn, act: Person): Promise<void> {
  demandState(state, takesFrames)
  if (state.waiting.size > 0) {
    throw new Problem('run-state', 'pictures are still being read; close again when none is', {
      measured: state.waiting.size,
      limit: 0,
    })
  }
  await write([step('closing', act)]).durable
}

export async function seal({ state, write }: ActsOn, act: Person): Promise<LedgerHead> {
  demandState(state, new Set(['closing']))
  return write([step('sealed', act)]).durable
}

export async function abort({ state, write }: ActsOn, act: Person & { readonly why: string }): Promise<void> {
  demandState(state, new Set(['ready', 'closing', ...takesFrames]))
  await write([step('aborted', act)]).durable
}

/** Canonical JSON texts. */
export interface NextTicket {
  readonly ticket: string
  readonly frozen: string
  readonly override?: string
}

/**
 * The next ticket, for the frames recorded from now on: it is in force when this returns, durable when the promise is kept. Problem
 * `roll-name-taken` where its roll would name what follows the last split as another roll of the run.
 */
export function changeTicket({ state, write }: ActsOn, act: Person, next: NextTicket): Promise<LedgerHead> {
  demandState(state, takesFrames)
  demandRestFree({ material: state.material, ticket: JSON.parse(next.ticket) as Ticket })
  return write([step(state.name, act, next)]).durable
}
