// The decision for one label: what was read, what it resolves to, every flag that applies, and the strictest consequence.
// Costs a rule match and a few map look-ups; nothing here waits.
import type { Digest } from '../kernel/bytes.ts'
import { toDigest } from '../kernel/bytes.ts'
import type { Flag } from '../kernel/terms.ts'
import type { EntryBodies } from '../ledger/index.ts'
import { strictest } from '../lines/index.ts'
import type { BlobCondition } from '../storage/port.ts'
import { type CauseBody, causeOf } from './causes.ts'
import type { LabelNow } from './earlier-pass-outcomes.ts'
import type { CellOfRun } from './geometry.ts'
import type { SerialInRun } from './laid-serials.ts'
import { isThreaded, layerAcross } from './reels.ts'
import type { Choice, Identity, Resolver } from './resolve.ts'
import { type FrameRecord, isLaidAt, type ReadBody, type RunState, versionKey } from './state.ts'

/** Unused error correction under which a symbol may fail next time: grade D of ISO/IEC 15415 begins at 0.25 (second-hand). */
export const lowQualityBelowDefault = 0.25

export interface DecideWith {
  readonly resolver: Resolver
  /** Last known condition of a layer's bytes; kept up to date by the run. */
  readonly layerCondition: (digest: Digest) => BlobCondition
  /** Whether another run laid this serial in the same pass. */
  readonly laidInOtherRun: (of: SerialInRun) => boolean
  /** Whether an earlier pass did something else with a label than lay the version that is to be laid now. */
  readonly differsFromEarlier: (label: LabelNow) => boolean
}

type Seen =
  | { readonly kind: 'nothing' }
  | { readonly kind: 'conflict' }
  | { readonly kind: 'read'; readonly read: ReadBody }

// A cell is spoken for by its own read, by its lane's where that names one cell or the code stands for the lane, or by the frame's.
function speaksFor(state: RunState, cell: CellOfRun, read: ReadBody): boolean {
  const identifies = state.frozen.jobs[0]?.frame.codeAt.identifies
  if (read.cell !== undefined) return identifies === 'cell' ? read.cell === cell.cell : sameLane(state, read.cell, cell)
  if (read.lane !== undefined) return read.lane === cell.lane && (identifies !== 'cell' || isAloneInLane(state, cell))
  return identifies === 'frame'
}

const isAloneInLane = (state: RunState, cell: CellOfRun): boolean =>
  state.cells.every((other) => other === cell || other.lane !== cell.lane)

const sameLane = (state: RunState, cellNumber: number, cell: CellOfRun): boolean =>
  state.frozen.jobs[0]?.frame.codeAt.identifies === 'frame' ||
  state.cells.some((other) => other.cell === cellNumber && other.lane === cell.lane)

function seenAt(state: RunState, cell: CellOfRun, reads: readonly ReadBody[]): Seen {
  let seen: ReadBody | undefined
  for (const read of reads) {
    if (read.text === undefined || !speaksFor(state, cell, read)) continue
    if (seen !== undefined && seen.text !== read.text) return { kind: 'conflict' }
    seen ??= read
  }
  return seen ? { kind: 'read', read: seen } : { kind: 'nothing' }
}

interface Weighed {
  readonly flags: Flag[]
  readonly identity?: Identity
  readonly choice?: Choice
}

function weighRead(state: RunState, seen: Seen, cell: CellOfRun, { resolver }: DecideWith): Weighed {
  if (seen.kind === 'nothing') return { flags: ['no-read'] }
  if (seen.kind === 'conflict') return { flags: ['out-of-sequence'] }
  const { read } = seen
  const resolution = resolver.resolve(read.text ?? '', read.symbology, cell.cell)
  const low = (state.line.lowQualityBelow ?? lowQualityBelowDefault) * 1e6
  const quality: Flag[] = read.qualityPpm !== undefined && read.qualityPpm < low ? ['low-quality'] : []
  if (resolution.kind === 'unknown') return { flags: ['unknown-code', ...quality] }
  if (resolution.kind === 'other-job') return { flags: ['other-job', ...quality], identity: resolution.identity }
  const { choice, identity } = resolution
  return { flags: [...choice.flags, ...quality], identity, choice }
}

// Flags of the version's layers as they are now: recalled, absent, damaged, foil not threaded.
function layerFlags(state: RunState, weighed: Weighed, cell: CellOfRun, { layerCondition }: DecideWith): Flag[] {
  const { choice, identity } = weighed
  if (!choice?.version || !identity) return []
  const found = new Set<Flag>()
  const { design, version, layers } = choice.version
  if (state.withdrawn.has(versionKey(identity.job, design, version))) found.add('withdrawn')
  for (const layer of layers) {
    const condition = layerCondition(toDigest(layer.sha256))
    if (condition === 'missing') found.add('missing-layer')
    if (condition === 'damaged') found.add('damaged-layer')
    if (layer.foil === undefined) continue
    const across = () => layerAcross(state.orientation, cell.cell, layer)
    if (!isThreaded(state.reels, layer, across)) found.add('no-foil')
  }
  return [...found]
}

// Flags of where the label stands: off phase, laid before the web was backed up, its serial laid elsewhere, another text before.
function placeFlags(
  state: RunState,
  frame: FrameRecord,
  label: { cell: CellOfRun; ordinal: number; identity?: Identity },
  { laidInOtherRun }: DecideWith,
) {
  const { cell, ordinal, identity } = label
  const found: Flag[] = []
  const contradicted = identity !== undefined && state.places.contradicts(frame.place, ordinal, identity.text)
  if (frame.offPhase || contradicted) found.push('out-of-sequence')
  if (state.places.state(frame.place, ordinal) === 'lay') found.push('already-laid')
  if (state.name === 'proving' || identity?.serial === undefined) return found
  const { runId, ticket } = state
  const of = { runId, pass: ticket.pass, job: identity.job, serial: identity.serial, cell: cell.serialCell }
  const slot = frame.place * state.cells.length + ordinal
  if (isLaidAt(state, of, slot) || laidInOtherRun(of)) found.push('duplicate')
  return found
}

// In a later pass, what was skipped stays skipped, and what was laid must be the same version.
function passFlags(state: RunState, weighed: Weighed, cell: CellOfRun, { differsFromEarlier }: DecideWith): Flag[] {
  const { pass } = state.ticket
  const { choice, identity } = weighed
  if (pass === 1 || !choice?.version || !identity) return []
  const label = { pass, identity, version: choice.version, cell: cell.serialCell, proving: state.name === 'proving' }
  return differsFromEarlier(label) ? ['pass-mismatch'] : []
}

interface Verdict {
  readonly decision: EntryBodies['answer']['decision']
  readonly cause?: CauseBody
}

// The strictest flag wins; a stop whose cause is known already skips; small flags become a stop when enough came together.
function judge(state: RunState, all: readonly Flag[], identity: Identity | undefined): Verdict {
  const decision = strictest(all.map((flag) => state.policy[flag].decision))
  for (const flag of all) {
    if (state.policy[flag].decision !== 'stop') continue
    const cause = causeOf(flag, identity)
    if (state.causes.status(cause) === undefined) return { decision: 'stop', cause }
  }
  if (state.name !== 'proving') {
    for (const flag of all) {
      if (state.causes.status({ flag }) === undefined && state.windows.wouldStop(flag))
        return { decision: 'stop', cause: { flag } }
    }
  }
  return { decision: decision === 'stop' ? 'skip' : decision }
}

/** The answer to one label of a frame whose reads are all there. */
export function decideLabel(
  state: RunState,
  label: { frame: FrameRecord; cell: CellOfRun; ordinal: number; reads: readonly ReadBody[] | 'late' },
  using: DecideWith,
): EntryBodies['answer'] {
  const { frame, cell, ordinal, reads } = label
  const weighed: Weighed =
    reads === 'late' ? { flags: ['late'] } : weighRead(state, seenAt(state, cell, reads), cell, using)
  const { identity, choice } = weighed
  const all = new Set([
    ...weighed.flags,
    ...layerFlags(state, weighed, cell, using),
    ...placeFlags(state, frame, { cell, ordinal, ...(identity ? { identity } : {}) }, using),
    ...passFlags(state, weighed, cell, using),
  ])
  const { decision, cause } = judge(state, [...all], identity)
  const answer: EntryBodies['answer'] = {
    frame: frame.frame,
    place: frame.place,
    cell: cell.cell,
    decision,
    flags: [...all],
    layers: decision === 'lay' && choice ? [...choice.layers] : [],
    rotateDeg: cell.rotateDeg,
    noReturnUm: frame.positionUm + cell.noReturnAfterUm,
  }
  if (identity) answer.identity = identity
  if (state.name === 'proving') answer.setup = 1
  if (cause) answer.cause = cause
  return answer
}
