// Readiness: whether a ticket may run on a line now. Blockers keep a run from opening unless a named person overrides them.
import { type Impossible, type Orientation, orientationOf } from './orientation/index.ts'
import { foilRows, reelRows } from './readiness/foil-rows.ts'
import { jobRows } from './readiness/job-rows.ts'
import { bytesRows, commonRows, layerRows } from './readiness/layer-rows.ts'
import { bounded, type Inquiry, type Readiness, type ReadinessRow } from './readiness/rows.ts'
import { versionsOf } from './readiness/version-rows.ts'

export { type Readiness, type ReadinessRow, type Rows as ReadinessRows, readinessCodes } from './readiness/rows.ts'
export { type SequenceTally, tallySequence } from './readiness/tally.ts'
export { wantedVersions } from './wanted-versions.ts'

function orientationIn({ ticket, line, frozen }: Omit<Inquiry, 'condition'>): Orientation | Impossible | undefined {
  const frame = frozen.jobs[0]?.frame
  return frame && orientationOf({ ticket, line, frame })
}

function impossibleRows(orientation: Orientation | Impossible | undefined): ReadinessRow[] {
  if (orientation?.kind !== 'impossible') return []
  const mend = 'mend the ticket, then compare the roll with the drawing: rollcall orientation'
  return [{ code: 'orientation-impossible', message: orientation.message, mend, measured: orientation.code }]
}

/** What reels may earn, whichever way they are asked about. */
export const reelCodes = ['foil-not-threaded', 'foil-out-of-reach', 'reel-unfit'] as const

/** What stands against the reels of a ticket alone: foil that is missing or lies beside its layer, and reels that no shaft takes. */
export function reelBlockers(inquiry: Omit<Inquiry, 'condition' | 'more'>): readonly ReadinessRow[] {
  const orientation = orientationIn(inquiry)
  const possible = orientation?.kind === 'possible' ? orientation : undefined
  const foils = versionsOf(inquiry).wanted.flatMap((row) => foilRows(inquiry, row, possible))
  return bounded([...foils, ...reelRows(inquiry)])
}

/**
 * Weighs a ticket against a line and what is published. Reads and hashes every layer that may be laid (cached by the blob store), so
 * it costs one pass over those bytes the first time. Without a sequence on the ticket every released design counts as expected. At most
 * 100 rows of a code are told, and one that counts the others.
 */
export async function weighReadiness(inquiry: Inquiry): Promise<Readiness> {
  const { wanted, expected, ...versions } = versionsOf(inquiry)
  const orientation = orientationIn(inquiry)
  const possible = orientation?.kind === 'possible' ? orientation : undefined
  const more = (await inquiry.more?.()) ?? { blockers: [], warnings: [] }
  const blockers = bounded([
    ...jobRows(inquiry),
    ...versions.blockers,
    ...impossibleRows(orientation),
    ...wanted.flatMap((row) => [...layerRows(inquiry, row), ...foilRows(inquiry, row, possible)]),
    ...reelRows(inquiry),
    ...commonRows(inquiry, wanted),
    ...(await bytesRows(inquiry, wanted)),
    ...more.blockers,
  ])
  const warnings = bounded([...versions.warnings, ...more.warnings])
  return { ready: blockers.length === 0, blockers, warnings, ...(expected ? { expected } : {}) }
}
