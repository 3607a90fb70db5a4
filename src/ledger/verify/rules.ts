// What must hold between entries, whatever their bytes: a run's states, rising frames, one answer a label, revocations of what
// stands. A fold over shaped entries; the first that breaks a rule throws a Fault.
import type { EntryBodies } from '../entries.ts'
import { Fault } from './fault.ts'
import { createFrameTable, createLabelTable, isCell, type LabelPlace } from './label-table.ts'
import type { ShapedEntry } from './shapes.ts'

type Bodies = EntryBodies
export type RunState = Bodies['step']['to']

export interface LedgerRules {
  /** The run's state after the entries so far; undefined before the first. */
  readonly state: RunState | undefined
  apply(entry: ShapedEntry): void
}

// A clearing, or a further cause of a stop, is a step that leaves the state as it is.
const nextStates: Readonly<Record<RunState, readonly RunState[]>> = {
  ready: ['proving', 'aborted'],
  proving: ['proving', 'open', 'closing', 'aborted'],
  open: ['open', 'stopped', 'proving', 'closing', 'aborted'],
  stopped: ['stopped', 'open', 'proving', 'closing', 'aborted'],
  closing: ['sealed', 'aborted'],
  sealed: [],
  aborted: [],
}

export function createRules(): LedgerRules {
  const labels = createLabelRules()
  let state: RunState | undefined
  let nextIndex = 0
  let epoch = 0
  return {
    get state() {
      return state
    },
    apply(entry) {
      if (entry.index !== nextIndex) throw new Fault('index', `it has index ${entry.index}, not ${nextIndex}`)
      if (entry.epoch < epoch) throw new Fault('epoch', `epoch ${entry.epoch} follows epoch ${epoch}`)
      if (state === 'sealed' || state === 'aborted')
        throw new Fault('after-end', `it follows the end: the run is ${state}`)
      if (entry.type === 'step') state = stepped(state, entry.body)
      else if (state === undefined) throw new Fault('step', 'a ledger begins with the step to ready')
      else labels.apply(entry)
      nextIndex += 1
      epoch = entry.epoch
    },
  }
}

function stepped(state: RunState | undefined, { to, cause, ticket, frozen }: Bodies['step']): RunState {
  const allowed = state === undefined ? ['ready'] : nextStates[state]
  if (!allowed.includes(to)) throw new Fault('step', `a run cannot go from ${state ?? 'nothing'} to ${to}`)
  const changesTicket = state !== undefined && ticket !== undefined
  if (changesTicket && (to !== state || frozen === undefined))
    throw new Fault('step', 'a change of ticket keeps the state and carries what the next ticket may use')
  // Proving may begin anew; the other states are only kept by a step that is about a cause or the next ticket.
  if (to === state && to !== 'proving' && cause === undefined && !changesTicket)
    throw new Fault('step', `the run is ${to} already`)
  return to
}

interface LabelRules {
  apply(entry: ShapedEntry): void
}

function createLabelRules(): LabelRules {
  const frames = createFrameTable()
  const labels = createLabelTable()
  /** Frames whose picture was not read yet, with its digest, and those that await reads without one. */
  const waiting = new Map<number, string | undefined>()

  const placeOf = ({ frame, cell }: { frame: number; cell: number }): LabelPlace | undefined => {
    const ordinal = frames.ordinalOf(frame)
    return ordinal === undefined || !isCell(cell) ? undefined : { ordinal, cell }
  }
  const takeFrame = ({ frame, capture, reads, awaits }: Bodies['frame']): void => {
    if (frame <= frames.last) throw new Fault('frame', `frame ${frame} follows frame ${frames.last}`)
    if (capture !== undefined && (reads !== undefined || awaits))
      throw new Fault('frame', `frame ${frame} has a picture and reads`)
    frames.add(frame)
    if (capture !== undefined || awaits) waiting.set(frame, capture)
  }
  const takeReads = ({ frame, capture }: Bodies['reads']): void => {
    if (!waiting.has(frame) || waiting.get(frame) !== capture) {
      const what = capture === undefined ? 'frame without a picture' : `picture ${capture} of frame`
      throw new Fault('reads', `no ${what} ${frame} waits to be read`)
    }
    waiting.delete(frame)
  }
  const takeAnswer = (body: Bodies['answer'], index: number): void => {
    const place = placeOf(body)
    if (place === undefined) throw new Fault('answer', `${nameOf(body)} lies in no recorded frame`)
    const before = labels.get(place)
    if (before !== undefined)
      throw new Fault('answer', `${nameOf(body)} was answered by entry ${before.answer} already`)
    labels.set(place, { answer: index, isLay: body.decision === 'lay', isRevoked: false, isReported: false })
  }
  const takeRevocation = (body: Bodies['revocation']): void => {
    const place = placeOf(body)
    const label = place && labels.get(place)
    if (place === undefined || label === undefined || label.answer !== body.answer || !label.isLay) {
      throw new Fault('revocation', `entry ${body.answer} is no answer "lay" to ${nameOf(body)}`)
    }
    if (label.isRevoked) throw new Fault('revocation', `the answer to ${nameOf(body)} is revoked already`)
    labels.set(place, { ...label, isRevoked: true })
  }
  const takeLaid = (body: Bodies['laid']): void => {
    const place = placeOf(body)
    const label = place && labels.get(place)
    if (place === undefined || label === undefined) throw new Fault('laid', `${nameOf(body)} was never answered`)
    if (label.isReported) throw new Fault('laid', `${nameOf(body)} was reported already`)
    labels.set(place, { ...label, isReported: true })
  }
  return {
    apply(entry) {
      if (entry.type === 'frame') takeFrame(entry.body)
      else if (entry.type === 'reads') takeReads(entry.body)
      else if (entry.type === 'answer') takeAnswer(entry.body, entry.index)
      else if (entry.type === 'revocation') takeRevocation(entry.body)
      else if (entry.type === 'laid') takeLaid(entry.body)
    },
  }
}

const nameOf = ({ frame, cell }: { frame: number; cell: number }): string => `label (frame ${frame}, cell ${cell})`
