// Set-up and proving as sections of a run: each begins with a step to proving and ends when a named person has compared every lane, or
// when proving begins anew. Folded from the ledger, so that a run that is opened again shows the same.
import type { Entry, EntryBodies } from '../ledger/index.ts'

type StepEntry = Entry & { readonly type: 'step' }
type Step = EntryBodies['step']

export interface SetUpLane {
  labels: number
  lay: number
  skip: number
  stop: number
}

/** Who did a step, when, and what it said. */
export interface SetUpStep {
  readonly index: number
  readonly atMs: number
  readonly body: Step
}

export interface SetUpSection {
  readonly began: SetUpStep
  ended?: SetUpStep
  frames: number
  firstFrame?: number
  lastFrame?: number
  /** Web that was run as set-up: from its first mark to one pitch behind its last; a backed-up web counts once. */
  webUm: number
  /** Highest place so far. */
  place: number
  readonly lanes: Map<number, SetUpLane>
  /** Labels that stand as laid, by lane: those that can be compared. */
  readonly laid: Map<number, number>
}

/** Whether a step asks for proving; a clearing, a recall or a change of ticket while proving leaves it as it is. */
export const asksForProving = ({ to, cause, ticket }: Step): boolean =>
  to === 'proving' && cause === undefined && ticket === undefined

/** Takes up a step: ends the section under way and begins the next. */
export function stepSetUp(sections: SetUpSection[], { index, atMs, body }: StepEntry): void {
  const last = sections.at(-1)
  const step = { index, atMs, body }
  const begins = asksForProving(body)
  if (last && !last.ended && (begins || body.to !== 'proving')) last.ended = step
  if (!begins) return
  sections.push({ began: step, frames: 0, webUm: 0, place: -1, lanes: new Map(), laid: new Map() })
}

/** The section under way, if one is. */
export function openSetUp(sections: readonly SetUpSection[]): SetUpSection | undefined {
  const last = sections.at(-1)
  return last?.ended ? undefined : last
}

/** Takes up the answer to a set-up label. `markUm` tells where a place's mark was measured. */
export function countSetUp(
  section: SetUpSection,
  answer: EntryBodies['answer'],
  at: { lane: number; isFirstCell: boolean; pitchUm: number; markUm: (place: number) => number | undefined },
): void {
  const lane = section.lanes.get(at.lane) ?? { labels: 0, lay: 0, skip: 0, stop: 0 }
  section.lanes.set(at.lane, lane)
  lane.labels++
  lane[answer.decision]++
  if (answer.decision === 'lay') section.laid.set(at.lane, (section.laid.get(at.lane) ?? 0) + 1)
  if (!at.isFirstCell) return
  section.frames++
  section.firstFrame ??= answer.frame
  section.lastFrame = answer.frame
  if (answer.place <= section.place) return
  const [before, now] = [at.markUm(section.place), at.markUm(answer.place)]
  const advanceUm = before === undefined || now === undefined || now <= before ? at.pitchUm : now - before
  section.webUm += section.place < 0 ? at.pitchUm : advanceUm
  section.place = answer.place
}

/** A set-up label turned out not to be laid. */
export function uncountLaid(section: SetUpSection, lane: number): void {
  section.laid.set(lane, (section.laid.get(lane) ?? 1) - 1)
}

/** Lanes with a label that can be compared. */
export const provableLanes = (section: SetUpSection | undefined): readonly number[] =>
  [...(section?.laid ?? [])].filter(([, labels]) => labels > 0).map(([lane]) => lane)
