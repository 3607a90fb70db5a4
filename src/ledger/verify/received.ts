// Answers that somebody received and kept, held against the entries that the ledger has for them. Fields as they travel on the
// API (mm, null for no identity); fields that were not kept are not compared.
import type { EntryBodies } from '../entries.ts'
import { Fault, RangeFault } from './fault.ts'
import type { ShapedEntry } from './shapes.ts'

type Body = EntryBodies['answer']

/** An answer as it was received. `treeSize` and `root` (hex) are those it came with. */
export interface ReceivedAnswer {
  readonly ledgerIndex: number
  readonly treeSize: number
  readonly root: string
  readonly frame: number
  readonly cell: number
  readonly decision: string
  readonly place?: number
  readonly flags?: readonly string[]
  readonly identity?: Readonly<Record<string, string | number | undefined>> | null
  readonly layers?: readonly ReceivedLayer[]
  readonly rotateDeg?: number
  readonly noReturnMm?: number
  readonly setup?: boolean
}

export interface ReceivedLayer {
  readonly digest: string
  readonly station: string
  readonly order: number
  readonly layer?: string
  readonly scope?: string
  readonly placement?: {
    readonly leftMm: number
    readonly topMm: number
    readonly widthMm: number
    readonly heightMm: number
  }
}

/** Throws a Fault for an answer that cannot have been given: it must lie in the tree that it came with. */
export function checkClaim({ frame, cell, ledgerIndex, treeSize }: ReceivedAnswer): void {
  const isIndex = Number.isSafeInteger(ledgerIndex) && ledgerIndex >= 0
  if (isIndex && Number.isSafeInteger(treeSize) && ledgerIndex < treeSize) return
  const why = `the answer received for frame ${frame}, cell ${cell} names entry ${ledgerIndex} of ${treeSize}`
  const from = isIndex ? ledgerIndex : 0
  throw new RangeFault('answer-changed', why, { from, to: from + 1 })
}

/** Throws a Fault `answer-changed` naming the first field in which the entry is not the answer received. */
export function checkReceived(entry: ShapedEntry, received: ReceivedAnswer): void {
  const label = `the answer received for frame ${received.frame}, cell ${received.cell}`
  if (entry.type !== 'answer') throw new Fault('answer-changed', `it is of type ${entry.type}, not ${label}`)
  const field = changedField(entry.body, received)
  if (field !== undefined) throw new Fault('answer-changed', `it differs from ${label} in ${field}`)
}

const um = (mm: number): number => Math.round(mm * 1_000)
/** A field that was not kept agrees with anything. */
const agrees = <Value>(kept: Value | undefined, recorded: Value): boolean => kept === undefined || kept === recorded

function changedField(body: Body, received: ReceivedAnswer): string | undefined {
  const { flags, identity, layers, noReturnMm } = received
  const fields: Readonly<Record<string, boolean>> = {
    frame: received.frame === body.frame,
    cell: received.cell === body.cell,
    decision: received.decision === body.decision,
    place: agrees(received.place, body.place),
    flags: flags === undefined || sameList(flags, body.flags, Object.is),
    identity: identity === undefined || sameIdentity(identity, body.identity),
    layers: layers === undefined || sameList(layers, body.layers, sameLayer),
    rotateDeg: agrees<number>(received.rotateDeg, body.rotateDeg),
    noReturnMm: agrees(noReturnMm === undefined ? undefined : um(noReturnMm), body.noReturnUm),
    setup: agrees(received.setup, body.setup === 1),
  }
  return Object.keys(fields).find((name) => !fields[name])
}

function sameList<A, B>(kept: readonly A[], recorded: readonly B[], same: (a: A, b: B) => boolean): boolean {
  return (
    kept.length === recorded.length &&
    kept.every((item, i) => {
      const other = recorded[i]
      return other !== undefined && same(item, other)
    })
  )
}

function sameIdentity(kept: NonNullable<ReceivedAnswer['identity']> | null, recorded: Body['identity']): boolean {
  if (kept === null || recorded === undefined) return kept === null && recorded === undefined
  const other: Readonly<Record<string, string | number | undefined>> = recorded
  const keys = new Set([...Object.keys(kept), ...Object.keys(recorded)])
  return [...keys].every((key) => kept[key] === other[key])
}

function sameLayer(kept: ReceivedLayer, recorded: Body['layers'][number]): boolean {
  const { placement } = kept
  return (
    kept.digest === recorded.digest &&
    kept.station === recorded.station &&
    kept.order === recorded.order &&
    agrees(kept.layer, recorded.layer) &&
    agrees<string>(kept.scope, recorded.scope) &&
    (placement === undefined || samePlacement(placement, recorded.placement))
  )
}

function samePlacement(
  kept: NonNullable<ReceivedLayer['placement']>,
  recorded: Body['layers'][number]['placement'],
): boolean {
  return (
    um(kept.leftMm) === recorded.leftUm &&
    um(kept.topMm) === recorded.topUm &&
    um(kept.widthMm) === recorded.widthUm &&
    um(kept.heightMm) === recorded.heightUm
  )
}
