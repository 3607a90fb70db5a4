// What a run may use, frozen when it opens: the jobs of its ticket with their versions and the layers of its pass.
import type { CatalogueChange, JobRecord, Manifest, ManifestLayer, VersionRecord } from '../packages/index.ts'
import type { Ticket } from './ticket.ts'

export interface FrozenVersion {
  readonly design: string
  readonly version: number
  readonly digest: string
  /** Released at some time before the run opened (superseded ones included). */
  readonly released: boolean
  readonly withdrawn: boolean
  readonly printVersions: readonly string[]
  /** Of the ticket's pass, in order of laying. */
  readonly layers: readonly ManifestLayer[]
  /**
   * Passes before the ticket's that it has layers in too, rising; absent where there are none. Where codes carry no serial, of any version
   * of the design: which one an earlier pass laid can't be told from the label.
   */
  readonly earlierPasses?: readonly number[]
}

export interface FrozenJob {
  readonly job: string
  readonly title: string
  readonly frame: Manifest['frame']
  readonly code: Manifest['code']
  /** Digests of the code indexes of a table rule, newest package first. */
  readonly codeIndexes: readonly string[]
  /** Whether the codes name the print version and a serial. */
  readonly carries: { readonly print: boolean; readonly serial: boolean }
  /** Versions pinned by the ticket, by design. */
  readonly pins: Readonly<Record<string, number>>
  /** Where the code names none. */
  readonly printVersion?: string
  /** By design, then rising version. */
  readonly versions: readonly FrozenVersion[]
}

export interface Frozen {
  readonly revision: number
  readonly jobs: readonly FrozenJob[]
}

/** The version that the ticket pins for a design. Designs are named by others, so nothing that every object has counts. */
export const pinOf = ({ pins }: Pick<FrozenJob, 'pins'>, design: string): number | undefined =>
  Object.hasOwn(pins, design) ? pins[design] : undefined

function earlierPasses(versions: readonly VersionRecord[], pass: number): Pick<FrozenVersion, 'earlierPasses'> {
  const layers = versions.flatMap((version) => version.layers)
  const passes = [...new Set(layers.map((layer) => layer.pass))].filter((earlier) => earlier < pass)
  return passes.length > 0 ? { earlierPasses: passes.toSorted((a, b) => a - b) } : {}
}

const frozenVersion = (version: VersionRecord, pass: number, tied: readonly VersionRecord[]): FrozenVersion => ({
  design: version.design,
  version: version.version,
  digest: version.digest,
  released: version.releasedAtMs !== undefined,
  withdrawn: version.withdrawnAtMs !== undefined,
  printVersions: version.printVersions,
  layers: version.layers.filter((layer) => layer.pass === pass).toSorted((a, b) => a.order - b.order),
  ...earlierPasses(tied, pass),
})

function frozenJob(record: JobRecord, ticket: Ticket, row: Ticket['jobs'][number]): FrozenJob {
  const allowed = row.packages
  const versions = [...record.designs.values()]
    .flat()
    .filter((version) => !allowed || version.packages.some((number) => allowed.includes(number)))
    .map((version) => {
      const tied = record.rule.carries.serial ? [version] : (record.designs.get(version.design) ?? [version])
      return frozenVersion(version, ticket.pass, tied)
    })
  return {
    job: record.job,
    title: record.title,
    frame: record.frame,
    code: record.code,
    codeIndexes: record.codeIndexes,
    carries: record.rule.carries,
    pins: Object.fromEntries((row.pins ?? []).map((pin) => [pin.design, pin.version])),
    ...(row.printVersion ? { printVersion: row.printVersion } : {}),
    versions,
  }
}

/** Freezes the jobs of a ticket that the catalogue knows; unknown ones are left out (readiness names them). */
export function freeze(catalogue: CatalogueChange['catalogue'], ticket: Ticket): Frozen {
  const jobs = ticket.jobs.flatMap((row) => {
    const record = catalogue.jobs.get(row.job)
    return record ? [frozenJob(record, ticket, row)] : []
  })
  return { revision: catalogue.revision, jobs }
}
