// How many labels of each version a roll carries, and in which cells: as counted in the ticket's sequence, else taken to be even.
import { cellRoom, liesWithin, type ManifestCell } from '../../packages/index.ts'
import type { Frozen, FrozenJob, FrozenVersion } from '../freeze.ts'
import type { Ticket } from '../ticket.ts'
import { wantedVersions } from '../wanted-versions.ts'

/** Labels of one version on the roll, as its sequence says; rows of the same version add up. */
export interface LabelCount {
  readonly job: string
  readonly design: string
  readonly version: number
  readonly labels: number
}

/** A version with the cells that it fits and how many labels a frame it has in each of those. */
export interface SpreadVersion {
  readonly job: FrozenJob
  readonly version: FrozenVersion
  readonly cells: readonly ManifestCell[]
  /** Labels a frame in each of `cells`, 0 to 1. */
  readonly perCell: number
  /** Labels a frame in all cells. */
  readonly perFrame: number
}

const nameOf = (of: { job: string; design: string; version: number }): string =>
  `${of.job}\n${of.design}\n${of.version}`

/** The cells of a job's frame that are on the roll; all of them where the ticket names none that the frame has. */
export function cellsOnRoll(job: FrozenJob, { cells }: Pick<Ticket, 'cells'>): readonly ManifestCell[] {
  const named = job.frame.cells.filter(({ cell }) => cells?.includes(cell))
  return named.length > 0 ? named : job.frame.cells
}

// Labels of a job may differ in size: a version belongs in the cells that have room for its layers.
function cellsFor(version: FrozenVersion, cells: readonly ManifestCell[]): readonly ManifestCell[] {
  const own = version.layers.filter(({ scope }) => scope === 'cell')
  const fitting = cells.filter((cell) => own.every(({ placement }) => liesWithin(placement, cellRoom(cell))))
  return fitting.length > 0 ? fitting : cells
}

type Placed = Omit<SpreadVersion, 'perCell' | 'perFrame'>

function counted(placed: readonly Placed[], counts: readonly LabelCount[], frames: number): readonly SpreadVersion[] {
  const byName = new Map<string, number>()
  // A version may come in several rows: one a print version.
  for (const count of counts) byName.set(nameOf(count), (byName.get(nameOf(count)) ?? 0) + count.labels)
  return placed.map((one) => {
    const { design, version } = one.version
    const perFrame = (byName.get(nameOf({ job: one.job.job, design, version })) ?? 0) / frames
    return { ...one, perFrame, perCell: perFrame / one.cells.length }
  })
}

// Each cell is shared evenly by the versions that fit it, of whatever job.
function even(placed: readonly Placed[]): readonly SpreadVersion[] {
  const sharers = new Map<number, number>()
  for (const { cells } of placed) for (const { cell } of cells) sharers.set(cell, (sharers.get(cell) ?? 0) + 1)
  return placed.flatMap((one) => {
    const byCell = one.cells.map((cell) => ({ cell, share: 1 / (sharers.get(cell.cell) ?? 1) }))
    // Cells with the same number of sharers go together, so that one figure holds for all of them.
    const shares = [...new Set(byCell.map(({ share }) => share))]
    return shares.map((share) => {
      const cells = byCell.filter((row) => row.share === share).map(({ cell }) => cell)
      return { ...one, cells, perCell: share, perFrame: share * cells.length }
    })
  })
}

/**
 * Spreads the wanted versions over the cells of the roll. With counts, a version's labels lie evenly over the cells that it fits; without,
 * every cell is shared evenly by the versions that fit it. A version may come in several rows, each with cells of its own.
 */
export function spreadVersions({
  ticket,
  frozen,
  counts,
  frames,
}: {
  readonly ticket: Ticket
  readonly frozen: Frozen
  readonly counts: readonly LabelCount[] | undefined
  /** Frames that the counts are of. */
  readonly frames: number
}): readonly SpreadVersion[] {
  const placed = frozen.jobs.flatMap((job) => {
    const cells = cellsOnRoll(job, ticket)
    return wantedVersions(job).map((version) => ({ job, version, cells: cellsFor(version, cells) }))
  })
  return counts ? counted(placed, counts, frames) : even(placed)
}
