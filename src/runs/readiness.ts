// Readiness put together: the ticket's sequence gone through with the rules of a run, the sums, and what was worked out before where
// nothing that it hangs on has changed.
import { open } from 'node:fs/promises'
import { canonicalText, type Digest, sha256Hex, toDigest } from '../kernel/bytes.ts'
import {
  type Frozen,
  freeze,
  getLine,
  getTicket,
  type LineProfile,
  layoutOf,
  type Readiness,
  type ReadinessRows,
  reelBlockers,
  type SequenceTally,
  type SumInquiry,
  sumOrder,
  sumsRows,
  sumTicket,
  type Ticket,
  type TicketSums,
  tallySequence,
  wantedVersions,
  weighReadiness,
} from '../lines/index.ts'
import type { CatalogueStore, LayerSums } from '../packages/index.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import { openRecent } from './recent.ts'
import { resolverOver } from './resolver-over.ts'

export interface ReadinessParts {
  readonly database: Database
  readonly blobs: Pick<BlobStore, 'condition' | 'localFile'>
  readonly catalogue: CatalogueStore
  /** Absent: readiness without the sums. */
  readonly layerSums?: LayerSums | undefined
}

/** Of a stored ticket and a stored line; their newest revisions count. */
export interface ReadinessNames {
  readonly ticket: string
  readonly line: string
}

interface Order {
  readonly ticket: Ticket
  readonly line: LineProfile
}

/** Who waits for it. */
export interface Waiting {
  readonly signal?: AbortSignal
  progress?(share: number, note: string): void
}

export interface WeighedTicket extends Readiness, Order {
  readonly frozen: Frozen
  readonly sums?: TicketSums
  /** Another one whenever the answer may be another. */
  readonly revision: string
}

/** What an earlier pass of the roll says, as rows; of the ticket's jobs as they are frozen. */
export type EarlierRows = (of: Order & { readonly frozen: Frozen }) => Promise<ReadinessRows>

export interface ReadinessDesk {
  /** Problems: `ticket-not-found`, `line-not-found`. */
  weigh(names: ReadinessNames, waiting?: Waiting): Promise<WeighedTicket>
  /** What stands against other reels than those of the ticket. Problems as of `weigh`. */
  reelsInstead(names: ReadinessNames, foils: NonNullable<Ticket['foils']>): Promise<Readiness['blockers']>
  /** Cheap: to be asked again and again. Problems as of `weigh`. */
  revision(names: ReadinessNames): Promise<string>
}

/** Of tickets weighed lately, so that a person who mends one thing after another does not wait each time. */
const keptMax = 8

type Gone = 'missing' | 'damaged'
interface Weighing extends Order, Waiting {
  readonly frozen: Frozen
  /** Of ticket, line and catalogue. */
  readonly key: string
}

/** Of the bytes that the answer hangs on, those that are not sound. */
async function lostOf({ blobs }: ReadinessParts, { frozen, ticket }: { frozen: Frozen; ticket: Ticket }) {
  const layers = frozen.jobs.flatMap((job) => wantedVersions(job).flatMap((version) => version.layers))
  const digests = new Set([
    ...layers.map((layer) => layer.sha256),
    ...frozen.jobs.flatMap((job) => job.codeIndexes),
    ...(ticket.sequence ? [ticket.sequence.sha256] : []),
  ])
  const lost: string[] = []
  for (const digest of digests) {
    const condition = await blobs.condition(toDigest(digest))
    if (condition !== 'sound') lost.push(`${digest} ${condition}`)
  }
  return lost
}

const keyOf = (frozen: Frozen, content: unknown): string => `${frozen.revision} ${sha256Hex(canonicalText(content))}`

/** Goes through the ticket's sequence; what is wrong with its bytes where that can't be done. */
async function tallyOf(
  parts: Pick<ReadinessParts, 'blobs' | 'catalogue'>,
  weighing: Pick<Weighing, 'ticket' | 'frozen' | 'signal' | 'progress'>,
): Promise<SequenceTally | Gone | undefined> {
  const { ticket, frozen, signal, progress } = weighing
  const [first] = frozen.jobs
  if (!ticket.sequence || !first) return undefined
  const digest = toDigest(ticket.sequence.sha256)
  const condition = await parts.blobs.condition(digest)
  if (condition !== 'sound') return condition
  const resolver = await resolverOver(parts.catalogue, frozen.jobs)
  const handle = await open(await parts.blobs.localFile(digest), 'r')
  try {
    const { size } = await handle.stat()
    return await tallySequence({
      handle,
      file: 'sequence',
      layout: layoutOf(first.frame, ticket.cells),
      resolve: (code, cell) => resolver.resolve(code, undefined, cell),
      onBytes: (bytes) => progress?.(sequenceShare * (bytes / Math.max(size, 1)), 'labels of the sequence'),
      signal,
    })
  } finally {
    await handle.close()
  }
}

/** Of the work, where there is a sequence and layers that nobody has summed yet; a guess for the bar alone. */
const sequenceShare = 0.5

async function sumsOf(
  layerSums: LayerSums,
  { ticket, line, frozen, signal, progress }: Weighing,
  tally: SequenceTally | undefined,
): Promise<TicketSums | undefined> {
  const layers = frozen.jobs.flatMap((job) => wantedVersions(job)).flatMap((version) => version.layers)
  let read = 0
  return sumTicket({
    ticket,
    line,
    frozen,
    ...(tally ? { counts: countsOf(tally), framesExpected: tally.positions } : {}),
    layerSums: (layer, station) => {
      const share = sequenceShare + (1 - sequenceShare) * Math.min(1, ++read / Math.max(layers.length, 1))
      progress?.(share, 'layers of the sums')
      return layerSums.of(sumOrder(layer, station), signal)
    },
  })
}

const countsOf = ({ groups }: SequenceTally) =>
  groups.flatMap(({ job, design, version, labels }) =>
    job !== undefined && design !== undefined && version ? [{ job, design, version: version.version, labels }] : [],
  )

/** What the sums take from a ticket's sequence, as a run froze it; nothing where there is none, or where its bytes are not sound. */
export async function countedIn(
  parts: Pick<ReadinessParts, 'blobs' | 'catalogue'>,
  of: Pick<Weighing, 'ticket' | 'frozen'>,
): Promise<Pick<SumInquiry, 'counts' | 'framesExpected'>> {
  const tally = await tallyOf(parts, of)
  return typeof tally === 'object' ? { counts: countsOf(tally), framesExpected: tally.positions } : {}
}

// How long the roll is may be left open, and lost layers are rows already.
const ofSumsAlone = new Set(['nothing-expected', 'layer-unread'])

function rowsOf(sums: TicketSums | undefined): ReadinessRows {
  if (!sums) return { blockers: [], warnings: [] }
  const { blockers, warnings } = sumsRows(sums)
  return { blockers, warnings: warnings.filter(({ code }) => !ofSumsAlone.has(code)) }
}

const bothOf = (rows: readonly ReadinessRows[]): ReadinessRows => ({
  blockers: rows.flatMap(({ blockers }) => blockers),
  warnings: rows.flatMap(({ warnings }) => warnings),
})

/** Opens readiness over what is published and stored. */
export function openReadiness(parts: ReadinessParts, earlierRows?: EarlierRows): ReadinessDesk {
  const tallies = openRecent<SequenceTally | Gone | undefined>(keptMax)
  const sums = openRecent<TicketSums | undefined>(keptMax)
  const condition = (digest: Digest) => parts.blobs.condition(digest)

  // What may change the answer without a word from the catalogue: stored bytes, and runs of an earlier pass.
  const revisionOf = async (order: Order & { frozen: Frozen }): Promise<string> => {
    const lost = await lostOf(parts, order)
    const earlier = await earlierRows?.(order)
    return sha256Hex(keyOf(order.frozen, [order.ticket, order.line, lost, earlier ?? noRows])).slice(0, 16)
  }

  const sumsIn = (weighing: Weighing, tally: SequenceTally | Gone | undefined): Promise<TicketSums | undefined> => {
    const { layerSums } = parts
    if (!layerSums || weighing.frozen.jobs.length === 0) return Promise.resolve(undefined)
    const counted = typeof tally === 'object' ? tally : undefined
    // Without an open sequence the same ticket gives other sums.
    const key = `${weighing.key} ${counted ? 'counted' : 'even'}`
    return sums.of(
      key,
      () => sumsOf(layerSums, weighing, counted),
      (found) => (found?.unread.length ?? 0) === 0,
    )
  }

  const orderOf = async (names: ReadinessNames): Promise<Order> => {
    const { content: ticket } = await getTicket(parts, names.ticket)
    const { content: line } = await getLine(parts, names.line)
    return { ticket, line }
  }

  const tallyIn = (of: Omit<Weighing, 'key'>): Promise<SequenceTally | Gone | undefined> =>
    tallies.of(
      keyOf(of.frozen, of.ticket),
      () => tallyOf(parts, of),
      (found) => typeof found === 'object',
    )

  return {
    async weigh(names, waiting = {}) {
      const order = await orderOf(names)
      const frozen = freeze(parts.catalogue.current(), order.ticket)
      const weighing = { ...order, ...waiting, frozen, key: keyOf(frozen, [order.ticket, order.line]) }
      const revision = await revisionOf(weighing)
      const sequence = await tallyIn(weighing)
      const summed = await sumsIn(weighing, sequence)
      const more = async () => bothOf([(await earlierRows?.({ ...order, frozen })) ?? noRows, rowsOf(summed)])
      const weighed = await weighReadiness({ ...order, frozen, condition, sequence, more })
      return { ...weighed, ...order, frozen, revision, ...(summed ? { sums: summed } : {}) }
    },
    async reelsInstead(names, foils) {
      const { ticket, line } = await orderOf(names)
      const frozen = freeze(parts.catalogue.current(), ticket)
      const sequence = await tallyIn({ ticket, line, frozen })
      return reelBlockers({ ticket: { ...ticket, foils }, line, frozen, sequence })
    },
    async revision(names) {
      const order = await orderOf(names)
      return revisionOf({ ...order, frozen: freeze(parts.catalogue.current(), order.ticket) })
    },
  }
}

const noRows: ReadinessRows = { blockers: [], warnings: [] }
