// Readiness: whether a ticket may run on a line now. Blockers keep a run from opening unless a named person overrides them.

import { toDigest } from '../kernel/bytes.ts'
import type { BlobCondition } from '../storage/port.ts'
import { type Frozen, type FrozenJob, type FrozenVersion, pinOf } from './freeze.ts'
import type { LineProfile } from './profile.ts'
import type { Ticket } from './ticket.ts'

export const readinessCodes = [
  'job-not-published',
  'nothing-released',
  'version-not-released',
  'version-withdrawn',
  'pin-unknown',
  'print-version-unstated',
  'geometry-differs',
  'substrate-not-allowed',
  'web-too-wide',
  'station-missing',
  'resolution-mismatch',
  'height-over-limit',
  'foil-not-threaded',
  'layers-not-common',
  'missing-layer',
  'damaged-layer',
  'code-table-lost',
] as const
export type ReadinessCode = (typeof readinessCodes)[number]

export interface ReadinessRow {
  readonly code: ReadinessCode
  /** What is wrong and what would mend it. */
  readonly message: string
  readonly job?: string
  readonly design?: string
  readonly version?: number
  readonly layer?: string
  readonly measured?: string | number
  readonly limit?: string | number
}

export interface Readiness {
  readonly ready: boolean
  readonly blockers: readonly ReadinessRow[]
  readonly warnings: readonly ReadinessRow[]
}

interface Inquiry {
  readonly ticket: Ticket
  readonly line: LineProfile
  readonly frozen: Frozen
  /** Looks at stored bytes; called once per layer digest. */
  readonly condition: (digest: ReturnType<typeof toDigest>) => Promise<BlobCondition>
}

/** The versions of a job that its labels would be given: for each design and print version the pinned one, else the highest released fit. */
export function wantedVersions(job: FrozenJob): readonly FrozenVersion[] {
  const wanted = new Map<string, FrozenVersion>()
  for (const version of job.versions) {
    const pin = pinOf(job, version.design)
    if (pin !== undefined ? version.version !== pin : !version.released) continue
    for (const print of version.printVersions) wanted.set(`${version.design}\n${print}`, version)
  }
  return [...new Set(wanted.values())]
}

function jobRows({ ticket, frozen, line }: Inquiry): ReadinessRow[] {
  const rows: ReadinessRow[] = []
  const known = new Set(frozen.jobs.map((job) => job.job))
  for (const row of ticket.jobs) {
    if (!known.has(row.job)) {
      rows.push({
        code: 'job-not-published',
        job: row.job,
        message: `no package of ${row.job} is published; publish one`,
      })
    }
  }
  const first = frozen.jobs[0]
  for (const job of frozen.jobs) {
    const base = { job: job.job }
    if (!job.versions.some((version) => version.released)) {
      rows.push({ ...base, code: 'nothing-released', message: 'no version of this job is released; release a package' })
    }
    if (!job.frame.substrates.includes(ticket.substrate)) {
      rows.push({
        ...base,
        code: 'substrate-not-allowed',
        message: 'the job does not allow the substrate of the ticket',
        measured: ticket.substrate,
        limit: job.frame.substrates.join(', '),
      })
    }
    if (job.frame.webWidthMm > line.webWidthMmMax) {
      rows.push({
        ...base,
        code: 'web-too-wide',
        message: 'the web is wider than the line takes, mm',
        measured: job.frame.webWidthMm,
        limit: line.webWidthMmMax,
      })
    }
    if (first && JSON.stringify(first.frame) !== JSON.stringify(job.frame)) {
      rows.push({
        ...base,
        code: 'geometry-differs',
        message: `frame and cells differ from those of ${first.job}; run it alone`,
      })
    }
    if (!job.carries.print && !job.printVersion) {
      rows.push({
        ...base,
        code: 'print-version-unstated',
        message: 'the code names no print version; state it on the ticket (jobs[].printVersion)',
      })
    }
    for (const [design, pin] of Object.entries(job.pins)) {
      if (!job.versions.some((version) => version.design === design && version.version === pin)) {
        rows.push({
          ...base,
          code: 'pin-unknown',
          design,
          version: pin,
          message: 'the pinned version is not published',
        })
      }
    }
  }
  return rows
}

function layerRows(inquiry: Inquiry, job: FrozenJob, version: FrozenVersion): ReadinessRow[] {
  const { line, ticket } = inquiry
  const rows: ReadinessRow[] = []
  for (const layer of version.layers) {
    const base = { job: job.job, design: version.design, version: version.version, layer: layer.layer }
    const station = line.stations.find((candidate) => candidate.station === layer.station)
    if (!station) {
      rows.push({ ...base, code: 'station-missing', message: `the line has no ${layer.station} station` })
      continue
    }
    const { resolution } = station
    const same =
      !resolution ||
      (resolution.acrossDpi === layer.resolution.acrossDpi && resolution.alongDpi === layer.resolution.alongDpi)
    if (!same && resolution) {
      rows.push({
        ...base,
        code: 'resolution-mismatch',
        message: `the layer does not have the resolution of the ${layer.station} station, dpi across × along`,
        measured: `${layer.resolution.acrossDpi} × ${layer.resolution.alongDpi}`,
        limit: `${resolution.acrossDpi} × ${resolution.alongDpi}`,
      })
    }
    if (layer.heightUm !== undefined && layer.heightUm > line.heightUmMax) {
      rows.push({
        ...base,
        code: 'height-over-limit',
        message: 'the layer is higher than the line lays, µm',
        measured: layer.heightUm,
        limit: line.heightUmMax,
      })
    }
    const threaded = ticket.foils?.some((foil) => foil.station === layer.station && foil.foil === layer.foil)
    if (layer.foil !== undefined && !threaded) {
      rows.push({
        ...base,
        code: 'foil-not-threaded',
        message: `foil ${layer.foil} is not on the ticket's shafts; add it`,
      })
    }
  }
  return rows
}

// A station that can't skip lays the same on every label, so its layers must be the same bytes for all.
function commonRows({ line }: Inquiry, wanted: readonly { job: FrozenJob; version: FrozenVersion }[]): ReadinessRow[] {
  return line.stations
    .filter((station) => !station.skips)
    .flatMap((station): ReadinessRow[] => {
      const sets = new Set(
        wanted.map(({ version }) =>
          version.layers
            .filter((layer) => layer.station === station.station)
            .map((layer) => layer.sha256)
            .join(),
        ),
      )
      if (sets.size <= 1) return []
      return [
        {
          code: 'layers-not-common',
          message: `the ${station.station} station cannot skip, but its layers differ between labels; they must be common to all`,
          measured: sets.size,
          limit: 1,
        },
      ]
    })
}

async function bytesRows(
  inquiry: Inquiry,
  wanted: readonly { job: FrozenJob; version: FrozenVersion }[],
): Promise<ReadinessRow[]> {
  const seen = new Map<string, BlobCondition>()
  const rows: ReadinessRow[] = []
  for (const { job, version } of wanted) {
    for (const layer of version.layers) {
      const digest = toDigest(layer.sha256)
      const condition = seen.get(digest) ?? (await inquiry.condition(digest))
      seen.set(digest, condition)
      if (condition === 'sound') continue
      rows.push({
        code: condition === 'missing' ? 'missing-layer' : 'damaged-layer',
        job: job.job,
        design: version.design,
        version: version.version,
        layer: layer.layer,
        message: `the stored bytes of ${layer.file} are ${condition}; publish the same package again to mend them`,
      })
    }
  }
  return [...rows, ...(await tableRows(inquiry))]
}

// Without its code index, every code of the job is unknown.
async function tableRows({ frozen, condition }: Inquiry): Promise<ReadinessRow[]> {
  const rows: ReadinessRow[] = []
  for (const { job, codeIndexes } of frozen.jobs) {
    for (const digest of codeIndexes) {
      const found = await condition(toDigest(digest))
      if (found === 'sound') continue
      const message = `a code index of the job is ${found}; publish the same package again to mend it`
      rows.push({ code: 'code-table-lost', job, message, measured: found })
    }
  }
  return rows
}

function stateRows(frozen: Frozen, wanted: readonly { job: FrozenJob; version: FrozenVersion }[]) {
  const blockers: ReadinessRow[] = []
  const warnings: ReadinessRow[] = []
  for (const { job, version } of wanted) {
    const base = { job: job.job, design: version.design, version: version.version }
    if (version.withdrawn) {
      const row = {
        ...base,
        code: 'version-withdrawn' as const,
        message: 'the version was recalled; its labels will stop the web',
      }
      blockers.push(row)
    } else if (!version.released) {
      blockers.push({ ...base, code: 'version-not-released', message: 'the pinned version is not released' })
    }
  }
  for (const job of frozen.jobs) {
    const released = new Set(job.versions.filter((version) => version.released).map((version) => version.design))
    for (const version of job.versions) {
      if (released.has(version.design)) continue
      const base = { job: job.job, design: version.design, version: version.version }
      warnings.push({
        ...base,
        code: 'version-not-released',
        message: 'only a checked version exists; release it if it is on the roll',
      })
    }
  }
  return { blockers, warnings }
}

/**
 * Weighs a ticket against a line and what is published. Reads and hashes every layer that may be laid (cached by the blob store), so
 * it costs one pass over those bytes the first time. Without a sequence on the ticket every released design counts as expected.
 */
export async function weighReadiness(inquiry: Inquiry): Promise<Readiness> {
  const wanted = inquiry.frozen.jobs.flatMap((job) => wantedVersions(job).map((version) => ({ job, version })))
  const states = stateRows(inquiry.frozen, wanted)
  const blockers = [
    ...jobRows(inquiry),
    ...states.blockers,
    ...wanted.flatMap(({ job, version }) => layerRows(inquiry, job, version)),
    ...commonRows(inquiry, wanted),
    ...(await bytesRows(inquiry, wanted)),
  ]
  return { ready: blockers.length === 0, blockers, warnings: states.warnings }
}
