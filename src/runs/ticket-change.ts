// The next ticket of a run that goes on: what it may use, and why it may need a run of its own instead. The web does not stop for it,
// so whatever the line was threaded and set for stays.
import { canonicalText, type Digest, toDigest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import { type Frozen, type FrozenJob, type Readiness, type Ticket, weighReadiness } from '../lines/index.ts'
import type { BlobStore } from '../storage/port.ts'
import { cellsOfRun } from './geometry.ts'
import type { ReadinessNames, WeighedTicket } from './readiness.ts'
import type { NextTicket, Person } from './run-acts.ts'
import { notReady } from './run-rows.ts'
import type { RunState } from './state.ts'

export interface ChangeTicketOrder extends Person {
  readonly ticket: string
  readonly why: string
  readonly override?: boolean | undefined
}

interface Weighed {
  readonly ticket: Ticket
  readonly frozen: Frozen
  /** Blockers that a named person overrode. */
  readonly blockers: Readiness['blockers']
}

interface Parts {
  readonly blobs: Pick<BlobStore, 'condition'>
  /** Readiness on the line as it is stored now. */
  readonly weigh: (names: ReadinessNames) => Promise<WeighedTicket>
}

/** Digests of all layers that jobs may lay. */
export const layersOf = (jobs: readonly FrozenJob[]): Digest[] =>
  jobs.flatMap((job) => job.versions.flatMap((version) => version.layers.map((layer) => toDigest(layer.sha256))))

/** A ticket with its versions, as a step holds them. */
export const textsOf = ({ ticket, frozen, blockers }: Weighed): NextTicket => ({
  ticket: canonicalText(ticket),
  frozen: canonicalText(frozen),
  ...(blockers.length > 0 ? { override: canonicalText(blockers) } : {}),
})

// What the run counts places, lanes and points of no return by.
const shapeOf = ({ pitchMm, webWidthMm, cells, codeAt, eyeMark }: FrozenJob['frame']): Record<string, string> => ({
  pitchMm: String(pitchMm),
  webWidthMm: String(webWidthMm),
  cells: canonicalText(cells),
  codeAt: canonicalText(codeAt),
  eyeMark: eyeMark ? canonicalText(eyeMark) : 'none',
})

function differences(state: RunState, ticket: Ticket, { jobs }: Frozen): readonly string[] {
  const now = state.frozen.jobs[0]
  const next = jobs[0]
  if (!now || !next) return []
  const [mine, theirs] = [shapeOf(now.frame), shapeOf(next.frame)]
  const found = Object.keys(mine).filter((key) => mine[key] !== theirs[key])
  if (ticket.pass !== state.ticket.pass) found.push('pass')
  const isTurned =
    found.length === 0 && canonicalText(cellsOfRun(next.frame, ticket, state.line)) !== canonicalText(state.cells)
  if (isTurned) found.push('cells on the roll, or the way that it runs')
  return found
}

// The line may have got a newer profile meanwhile; a run keeps the one that it opened with, so the ticket must fit both.
async function blockersOf(parts: Parts, state: RunState, weighed: WeighedTicket): Promise<Readiness['blockers']> {
  if (canonicalText(weighed.line) === canonicalText(state.line)) return weighed.blockers
  const condition = (digest: Digest) => parts.blobs.condition(digest)
  const { ticket, frozen } = weighed
  const { blockers } = await weighReadiness({ ticket, line: state.line, frozen, condition })
  const known = new Set(weighed.blockers.map((row) => canonicalText(row)))
  return [...weighed.blockers, ...blockers.filter((row) => !known.has(canonicalText(row)))]
}

/**
 * Weighs the next ticket of a run. Problems: `ticket-not-found`, `run-state` for the very ticket that it runs on,
 * `ticket-needs-new-run`, `not-ready`, `orientation-impossible`.
 */
export async function weighNextTicket(parts: Parts, state: RunState, order: ChangeTicketOrder): Promise<Weighed> {
  const weighed = await parts.weigh({ ticket: order.ticket, line: state.line.line })
  const { ticket, frozen } = weighed
  if (canonicalText(ticket) === canonicalText(state.ticket))
    throw new Problem('run-state', `run ${state.runId} runs on ticket ${ticket.ticket} already`)
  const differing = differences(state, ticket, frozen)
  if (differing.length > 0) {
    throw new Problem(
      'ticket-needs-new-run',
      `ticket ${ticket.ticket} differs from ${state.ticket.ticket} in ${differing.join(', ')}; close the run and open a new one`,
      { measured: differing.join(', ') },
    )
  }
  const blockers = await blockersOf(parts, state, weighed)
  if (frozen.jobs.length === 0 || (blockers.length > 0 && !order.override)) throw notReady(blockers)
  return { ticket, frozen, blockers }
}
