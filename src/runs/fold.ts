// The state of a run as a fold over its ledger: the same function takes up entries as they are written and when a run is opened
// again, so that memory and record can't drift apart.
import { assert } from '../kernel/assert.ts'
import { Problem } from '../kernel/problem.ts'
import { frameIndex, placeIndex } from '../kernel/terms.ts'
import type { Entry, EntryBodies } from '../ledger/index.ts'
import type { Frozen, Ticket } from '../lines/index.ts'
import { withMaterial } from './material.ts'
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
  else if (entry.type === 'answer') applyAnswer(state, entry.body, entry.index)
  else if (entry.type === 'revocation') applyRevocation(state, entry.body, entry.index)
  else if (entry.type === 'laid') applyLaid(state, entry.body)
  else if (entry.type === 'material') applyMaterial(state, entry.body, entry.index)
  else applyAct(state, entry.body)
}

function applyStep(state: RunState, entry: Entry & { readonly type: 'step' }): void {
  const { body, index } = entry
  stepSetUp(state.setUps, entry)
  state.name = body.to
  if (body.ticket !== undefined) applyTicket(state, body, index)
  if (!body.cause) return
  if (!body.after) {
    // A step into `stopped` behind an answer repeats the cause that the answer opened.
    if (state.causes.status(body.cause) === undefined) state.causes.open(body.cause, { index })
    return
  }
  state.causes.clear(body.cause, body.after)
  state.windows.reset(body.cause.flag)
}

function applyTicket(state: RunState, body: EntryBodies['step'], index: number): void {
  if (!body.ticket || !body.frozen)
    throw new Problem('ledger-bad', `entry ${index} changes the ticket without its versions`)
  state.ticket = JSON.parse(body.ticket) as Ticket
  state.frozen = JSON.parse(body.frozen) as Frozen
  state.tickets.push({ fromIndex: index, ticket: state.ticket, frozen: state.frozen })
}

// Positions are of one origin until the web is threaded anew.
function stretchOn(state: RunState, positionUm: number): void {
  const toUm = positionUm + state.pitchUm
  const last = state.stretches.at(-1)
  if (!last || state.stretchEnded) state.stretches.push({ fromUm: positionUm, toUm })
  else {
    last.fromUm = Math.min(last.fromUm, positionUm)
    last.toUm = Math.max(last.toUm, toUm)
  }
  state.stretchEnded = false
}

function applyFrame(state: RunState, body: EntryBodies['frame'], index: number): void {
  const tracked = state.tracker.advance({ frame: frameIndex(body.frame), positionUm: body.positionUm })
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
  })
  state.waiting.set(body.frame, body.reads)
  stretchOn(state, body.positionUm)
  state.lastFrame = body.frame
  state.lastPositionUm = body.positionUm
  state.leapAllowed = false
  state.counts.frames++
  state.live = state.live.filter((lay) => lay.noReturnUm > body.positionUm)
}

function applyAnswer(state: RunState, body: EntryBodies['answer'], index: number): void {
  const ordinal = state.cells.findIndex((cell) => cell.cell === body.cell)
  const frame = state.frames.get(body.frame)
  assert(frame && ordinal >= 0, 'an answer is to a label of a recorded frame')
  if (ordinal === 0) frame.answersAt = index
  if (ordinal === state.cells.length - 1) state.waiting.delete(body.frame)
  countAnswer(state, body, index)
  if (body.setup) noteSetUp(state, body, ordinal)
  if (body.identity) state.places.noteText(body.place, ordinal, body.identity.text)
  if (body.cause) state.causes.open(body.cause, { index, frame: body.frame, cell: body.cell })
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

// What lies before the sensor; what was done with the web behind the stations changes no phase.
const breaksPhase = ({ event, toPositionUm }: EntryBodies['material']): boolean =>
  event === 'splice' || event === 'pitch-change' || (event === 'cut-out' && toPositionUm === undefined)

function applyAct(state: RunState, body: EntryBodies['act']): void {
  if (body.act !== 'withdraw' || !body.job || !body.design || body.version === undefined) return
  state.withdrawn.add(versionKey(body.job, body.design, body.version))
}
