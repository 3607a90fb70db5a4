// Set-up as it is shown: proving sections with their labels by lane, the web that they took, and who compared what.
import { type ProvingReason, readEntries } from '../ledger/index.ts'
import type { Database } from '../storage/port.ts'
import type { Run } from './run.ts'
import { openSetUp, provableLanes, type SetUpLane, type SetUpSection, type SetUpStep } from './set-up.ts'
import type { RunState } from './state.ts'
import { toMm } from './wire-parts.ts'

/** Set-up labels listed for one run; what goes beyond is only counted. */
const labelsMax = 10_000

interface Acted {
  readonly ledgerIndex: number
  readonly atMs: number
  readonly by: string
  readonly why?: string
  readonly second?: string
}

export interface SetUpLabel {
  readonly frame: number
  readonly cell: number
  readonly lane: number
  readonly decision: string
  readonly code?: string
  readonly laid?: string
}

export interface SetUpReport {
  readonly runId: string
  readonly state: string
  readonly sections: readonly {
    readonly began: Acted
    /** `first`, or why proving was asked for again. */
    readonly reason: 'first' | 'asked' | ProvingReason
    readonly frames: number
    readonly firstFrame?: number
    readonly lastFrame?: number
    readonly labels: number
    readonly lanes: readonly ({ readonly lane: number } & SetUpLane)[]
    readonly webM: number
    readonly proved?: Acted & {
      readonly lanes: readonly number[]
      readonly compared: readonly { lane: number; frame: number; cell: number; code?: string }[]
    }
    /** How it ended where nobody proved it: begun anew, closed, aborted. */
    readonly endedBy?: Acted & { readonly to: string }
    /** Where they were asked for. */
    readonly list?: readonly SetUpLabel[]
  }[]
  readonly labels: number
  readonly webM: number
}

const acted = ({ index, atMs, body: { by, why, second } }: SetUpStep): Acted => ({
  ledgerIndex: index,
  atMs,
  by,
  ...(why === undefined ? {} : { why }),
  ...(second === undefined ? {} : { second }),
})

/** What a view of the run says of the proving under way. */
export function provingOf(state: RunState) {
  const section = openSetUp(state.setUps)
  const lanes = [...provableLanes(section)].toSorted((a, b) => a - b)
  if (!section) return { provableLanes: lanes }
  const { body, atMs } = section.began
  const reason = {
    ...(body.again === undefined ? {} : { again: body.again }),
    ...(body.why === undefined ? {} : { why: body.why }),
  }
  return { provableLanes: lanes, proving: { ...reason, sinceMs: atMs, frames: section.frames } }
}

async function* labelsOf(database: Database, run: Run, section: SetUpSection): AsyncGenerator<SetUpLabel> {
  const { state, runId } = run
  const to = section.ended ? { to: section.ended.index } : {}
  for await (const entry of readEntries(database, { runId, from: section.began.index, ...to })) {
    if (entry.type !== 'answer' || !entry.body.setup) continue
    const { frame, cell, decision, identity } = entry.body
    const ordinal = state.cells.findIndex((candidate) => candidate.cell === cell)
    const laid = state.frames.get(frame)?.laid?.[ordinal]
    const lane = state.cells[ordinal]?.lane ?? 0
    yield {
      frame,
      cell,
      lane,
      decision,
      ...(identity ? { code: identity.text } : {}),
      ...(laid ? { laid } : {}),
    }
  }
}

const keyOf = ({ frame, cell }: { frame: number; cell: number }): string => `${frame}/${cell}`

// One pass over a section's entries gives its list and the codes of the labels that were compared.
async function listed(database: Database, run: Run, section: SetUpSection, room: number) {
  const wanted = new Set((section.ended?.body.compared ?? []).map(keyOf))
  const list: SetUpLabel[] = []
  const codes = new Map<string, string>()
  if (room <= 0 && wanted.size === 0) return { list, codes }
  for await (const label of labelsOf(database, run, section)) {
    if (list.length < room) list.push(label)
    if (label.code !== undefined && wanted.has(keyOf(label))) codes.set(keyOf(label), label.code)
  }
  return { list, codes }
}

function endOf({ ended }: SetUpSection, codes: ReadonlyMap<string, string>) {
  if (!ended) return {}
  if (ended.body.to !== 'open') return { endedBy: { ...acted(ended), to: ended.body.to } }
  const compared = (ended.body.compared ?? []).map((label) => {
    const code = codes.get(keyOf(label))
    return { ...label, ...(code === undefined ? {} : { code }) }
  })
  return { proved: { ...acted(ended), lanes: ended.body.lanes ?? [], compared } }
}

/** The set-up of a run. With `labels`, up to 10,000 of them are listed: one pass over the entries of each section. */
export async function setUpReport(database: Database, run: Run, { labels = false } = {}): Promise<SetUpReport> {
  const { state, runId } = run
  const sections: SetUpReport['sections'][number][] = []
  let room = labels ? labelsMax : 0
  for (const section of state.setUps) {
    const { list, codes } = await listed(database, run, section, room)
    room -= list.length
    const lanes = [...section.lanes].map(([lane, counts]) => ({ lane, ...counts })).toSorted((a, b) => a.lane - b.lane)
    const { frames, firstFrame, lastFrame, began } = section
    sections.push({
      began: acted(began),
      reason: began.body.again ?? (sections.length === 0 ? 'first' : 'asked'),
      frames,
      ...(firstFrame === undefined ? {} : { firstFrame }),
      ...(lastFrame === undefined ? {} : { lastFrame }),
      labels: lanes.reduce((sum, lane) => sum + lane.labels, 0),
      lanes,
      webM: toMm(section.webUm) / 1000,
      ...endOf(section, codes),
      ...(labels ? { list } : {}),
    })
  }
  const webUm = state.setUps.reduce((sum, section) => sum + section.webUm, 0)
  const all = sections.reduce((sum, section) => sum + section.labels, 0)
  return { runId, state: state.name, sections, labels: all, webM: toMm(webUm) / 1000 }
}
