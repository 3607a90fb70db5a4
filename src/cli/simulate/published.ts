// Published jobs as the API shows them, and which layers are a label's own: worked out here once more from what was published, so that
// the server's own choice is held against it.
import type { Ticket } from '../../lines/index.ts'
import type { Manifest, ManifestLayer } from '../../packages/index.ts'

interface VersionView {
  readonly version: number
  readonly printVersions: readonly string[]
  readonly packages: readonly number[]
  readonly releasedAtMs?: number
  readonly withdrawnAtMs?: number
  readonly layers: readonly ManifestLayer[]
}

export interface JobView {
  readonly job: string
  readonly code: Manifest['code']
  readonly frame: Manifest['frame']
  readonly designs: readonly { readonly design: string; readonly versions: readonly VersionView[] }[]
}

export interface Named {
  readonly job: string
  readonly design: string
  readonly print?: string
}

/** What is laid on a label in the ticket's pass. */
export interface Own extends Named {
  readonly version: number
  readonly digests: ReadonlySet<string>
}

type JobRow = Ticket['jobs'][number]

function versionOf(versions: readonly VersionView[], row: JobRow, named: Named): VersionView | undefined {
  const print = named.print ?? row.printVersion
  const allowed = row.packages
  const fits = versions.filter(
    ({ printVersions, packages }) =>
      print !== undefined &&
      printVersions.includes(print) &&
      (!allowed || packages.some((number) => allowed.includes(number))),
  )
  const pin = row.pins?.find(({ design }) => design === named.design)
  if (pin) return fits.find(({ version }) => version === pin.version)
  return fits.filter(({ releasedAtMs }) => releasedAtMs !== undefined).at(-1)
}

/** Gives the layers that are a label's own under a ticket; undefined where nothing may be laid on it. */
export function openOwn(ticket: Ticket, jobs: readonly JobView[]): (named: Named) => Own | undefined {
  const known = new Map<string, Own | undefined>()
  const work = (named: Named): Own | undefined => {
    const row = ticket.jobs.find(({ job }) => job === named.job)
    const design = jobs.find(({ job }) => job === named.job)?.designs.find((one) => one.design === named.design)
    const found = row && design && versionOf(design.versions, row, named)
    if (!found || found.releasedAtMs === undefined || found.withdrawnAtMs !== undefined) return undefined
    const layers = found.layers.filter(({ pass }) => pass === ticket.pass)
    return { ...named, version: found.version, digests: new Set(layers.map(({ sha256 }) => sha256)) }
  }
  return (named) => {
    const key = `${named.job}\n${named.design}\n${named.print ?? ''}`
    if (!known.has(key)) known.set(key, work(named))
    return known.get(key)
  }
}
