// The state of a run as a fold over its ledger: the same function takes up entries as they are written and when a run is opened
// again, so that memory and record can't drift apart.
import { assert } from '../kernel/assert.ts'
import { Problem } from '../kernel/problem.ts'
import { frameIndex, placeIndex } from '../kernel/terms.ts'
import type { Entry, EntryBodies } from '../ledger/index.ts'
import type { Frozen, Ticket } from '../lines/index.ts'
import { stretchOn, withMaterial } from './material.ts'
import { breaksPhase } from './material-places.ts'
import { withFoil } from './reels.ts'
import { countSetUp, openSetUp, stepSetUp, uncountLaid } from './set-up.ts'
import { type RunState, versionKey } from './state.ts'

/** Takes up the next entry. Entries MUST come in order; a gap is a bug. */
export function applyEntry(state: RunState, entry: Entry): void {
  assert(entry.index === state.nextIndex, 'entries are taken up in order')
  state.nextIndex++
  if (entry.type === 'step') applyStep(state, entry)
  else if (entry.type === 'frame') applyFrame(state, entry.body, entry.index)
  else if (entry.type === 'reads') state.waiting.set(entry.body.frame, entry.body.reads)
  else if (entry.type === 'answer') applyAnswer(state, entry)
  else if (entry.type === 'revocation') applyRevocation(state, entry.body, entry.index)
  else if (entry.type === 'laid') applyLaid(state, entry.body)
  else if (entry.type === 'material') applyMaterial(state, entry.body, entry.index)
  else applyAct(state, entry)
}

function applyStep(state: RunState, entry: Entry & { readonly type: 'step' }): void {
  const { body, index } = entry
  stepSetUp(state.setUps, entry)
  state.name = body.to
  if (body.ticket !== undefined) applyTicket(state, body, index)
  state.causes.take(entry)
  if (body.cause && body.after) state.windows.reset(body.cause.flag)
}

function applyTicket(state: RunState, body: EntryBodies['step'], index: number): void {
  if (!body.ticket || !body.frozen)
    throw new Problem('ledger-bad', `entry ${index} changes the ticket without its versions`)
  state.ticket = JSON.parse(body.ticket) as Ticket
  state.frozen = JSON.parse(body.frozen) as Frozen
  state.tickets.push({ fromIndex: index, ticket: state.ticket, frozen: state.frozen })
}

function applyFrame(state: RunState, body: EntryBodies['frame'], index: number): void {
  const { positionUm, markSpacingUm } = body
  const tracked = state.tracker.advance({ frame: frameIndex(body.frame), positionUm, markSpacingUm })
  assert(tracked.place === body.place, 'a replayed frame is at the place that was recorded')
  // Frames that are off one after another, as on a web that is backed up, tell of one slip.
  const slips = tracked.offPhase && !state.frames.get(state.lastFrame)?.offPhase
  state.frames.set(body.frame, {
    frame: body.frame,
    place: body.place,
    positionUm: body.positionUm,
    offPhase: tracked.offPhase,
    ...(slips ? { slips: true } : {}),
    entryIndex: index,
    ...(body.capture ? { capture: body.capture } : {}),
    ...(body.awaits ? { awaits: true, ...(body.reads?.length ? { given: body.reads } : {}) } : {}),
  })
  state.waiting.set(body.frame, body.awaits ? undefined : body.reads)
  stretchOn(state, body.positionUm)
  const ticket = state.tickets.at(-1)
  if (ticket && !tracked.seenBefore)
    ticket.begins ??= { stretch: state.stretches.length - 1, positionUm: body.positionUm }
  state.lastFrame = body.frame
  state.lastPositionUm = body.positionUm
  state.leapAllowed = false
  state.counts.frames++
  state.live = state.live.filter((lay) => lay.noReturnUm > body.positionUm)
}

function applyAnswer(state: RunState, entry: Entry & { readonly type: 'answer' }): void {
  const { body, index } = entry
  const ordinal = state.cells.findIndex((cell) => cell.cell === body.cell)
  const frame = state.frames.get(body.frame)
  assert(frame && ordinal >= 0, 'an answer is to a label of a recorded frame')
  if (ordinal === 0) frame.answersAt = index
  if (ordinal === state.cells.length - 1) state.waiting.delete(body.frame)
  countAnswer(state, body, index)
  if (body.setup) noteSetUp(state, body, ordinal)
  if (body.identity) state.places.noteText(body.place, ordinal, body.identity.text)
  state.causes.take(entry)
  const before = state.places.state(body.place, ordinal)
  if (body.decision === 'lay') applyLay(state, body, { index, ordinal })
  // A label that was laid stays laid, whatever a later sighting is answered.
  else if (before !== 'lay') state.places.put({ place: body.place, ordinal, answer: index }, 'skipped')
}

function applyLay(state: RunState, body: EntryBodies['answer'], at: { index: number; ordinal: number }): void {
  const { identity } = body
  assert(identity?.version !== undefined, 'what is laid has an identity with a version')
  state.places.put({ place: body.place, ordinal: at.ordinal, answer: at.index }, 'lay')
  const cell = state.cells[at.ordinal]
  assert(cell, 'the ordinal is that of a cell')
  if (!body.setup && identity.serial !== undefined) {
    const slot = body.place * state.cells.length + at.ordinal
    state.serials.add(identity.job, { serial: identity.serial, cell: cell.serialCell, slot })
  }
  const { job, design, version } = identity
  const number = numberOfVersion(state, versionKey(job, design, version as number))
  state.places.putVersion(body.place, at.ordinal, number)
  state.live.push({
    answer: at.index,
    frame: body.frame,
    cell: body.cell,
    noReturnUm: body.noReturnUm,
    job,
    design,
    version: version as number,
  })
}

function noteSetUp(state: RunState, body: EntryBodies['answer'], ordinal: number): void {
  const section = openSetUp(state.setUps)
  const cell = state.cells[ordinal]
  assert(section && cell, 'set-up labels are answered while proving')
  const markUm = (place: number): number | undefined =>
    place < 0 ? undefined : state.tracker.positionUm(placeIndex(place))
  countSetUp(section, body, { lane: cell.lane, isFirstCell: ordinal === 0, pitchUm: state.pitchUm, markUm })
}

function countAnswer(state: RunState, body: EntryBodies['answer'], index: number): void {
  const { counts } = state
  counts.labels++
  counts[body.decision]++
  if (body.setup) counts.setup++
  else state.windows.add(body.flags)
  for (const flag of body.flags) {
    counts.flags[flag] = (counts.flags[flag] ?? 0) + 1
    state.examples[flag] ??= { frame: body.frame, cell: body.cell, index }
  }
}

function applyRevocation(state: RunState, body: EntryBodies['revocation'], index: number): void {
  state.revoked.set(body.answer, index)
  state.live = state.live.filter((lay) => lay.answer !== body.answer)
  state.counts.revoked++
  setPlace(state, body, 'revoked')
}

function applyLaid(state: RunState, body: EntryBodies['laid']): void {
  const frame = state.frames.get(body.frame)
  const ordinal = state.cells.findIndex((cell) => cell.cell === body.cell)
  assert(frame && ordinal >= 0, 'a laid report is for a label of a recorded frame')
  frame.laid ??= []
  frame.laid[ordinal] = body.laid
  state.counts.laid[body.laid]++
  // What lies on the label can't be kept off it any more, and what the controller left out needs no recall.
  if (body.laid !== 'unknown')
    state.live = state.live.filter((lay) => lay.frame !== body.frame || lay.cell !== body.cell)
  if (body.laid === 'none') setPlace(state, body, 'none')
}

// Only the place's last `lay` speaks for it: a report on an earlier sighting changes nothing.
function setPlace(state: RunState, label: { frame: number; cell: number }, to: 'revoked' | 'none'): void {
  const frame = state.frames.get(label.frame)
  const ordinal = state.cells.findIndex((cell) => cell.cell === label.cell)
  assert(frame?.answersAt !== undefined && ordinal >= 0, 'the label was answered')
  const answer = frame.answersAt + ordinal
  if (state.places.state(frame.place, ordinal) !== 'lay') return
  if (state.places.answer(frame.place, ordinal) !== answer) return
  state.places.put({ place: frame.place, ordinal, answer }, to)
  const section = openSetUp(state.setUps)
  const lane = state.cells[ordinal]?.lane
  if (section && lane !== undefined && answer > section.began.index) uncountLaid(section, lane)
}

function applyMaterial(state: RunState, body: EntryBodies['material'], index: number): void {
  state.material = withMaterial(state, { index, body })
  if (body.event === 'foil') state.reels = withFoil(state.reels, body)
  else if (body.event === 're-thread') {
    state.tracker.restart()
    state.leapAllowed = true
    state.stretchEnded = true
    state.live = []
  } else if (breaksPhase(body)) state.tracker.breakPhase(body.positionUm ?? state.lastPositionUm)
}

function applyAct(state: RunState, { body, index, atMs }: Entry & { readonly type: 'act' }): void {
  const { act, job, design, version, by, why } = body
  if (act !== 'withdraw' || !job || !design || version === undefined) return
  state.withdrawn.add(versionKey(job, design, version))
  state.recalls.push({ job, design, version, by, ...(why ? { why } : {}), atMs, index })
}

// The number of a version in this run, given at its first lay.
function numberOfVersion(state: RunState, key: string): number {
  const known = state.versions.get(key)
  if (known !== undefined) return known
  const number = state.versions.size + 1
  state.versions.set(key, number)
  return number
}
