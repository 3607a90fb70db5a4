// Readiness: what the labels resolve to. With a sequence each of its labels is looked at; without one every released design counts as
// expected.
import { type FrozenJob, type FrozenVersion, pinOf } from '../freeze.ts'
import { wantedVersions } from '../wanted-versions.ts'
import type { Expected, Inquiry, ReadinessRow, Rows, WantedVersion } from './rows.ts'
import type { LabelGroup, SequenceTally } from './tally.ts'

/** Of what may be laid, and what the sequence says of the rest. */
export interface Versions extends Rows {
  readonly wanted: readonly WantedVersion[]
  readonly expected?: Expected
}

/** The versions wanted, and rows of what stands against them. */
export function versionsOf(inquiry: Omit<Inquiry, 'condition'>): Versions {
  const { sequence } = inquiry
  if (sequence === undefined) return withoutSequence(inquiry)
  if (typeof sequence !== 'string') return withSequence(inquiry, sequence)
  const { wanted, ...rows } = withoutSequence(inquiry)
  const lost: ReadinessRow = {
    code: 'sequence-lost',
    message: `the stored bytes of the ticket's sequence are ${sequence}`,
    mend: 'store it again with the ticket: rollcall ticket put TICKET.json --sequence FILE.csv',
    measured: sequence,
  }
  return { ...rows, wanted, blockers: [lost, ...rows.blockers] }
}

const releaseMend = ({ job, design, version }: { job: string; design: string; version?: number | undefined }): string =>
  `release it: rollcall release ${job} --design ${design} --version ${version ?? '…'} --by … --why …`

const withdrawnMend = 'publish and release a new version of the artwork; a recall is for good'

function withoutSequence({ frozen }: Pick<Inquiry, 'frozen'>): Versions {
  const wanted = frozen.jobs.flatMap((job) => wantedVersions(job).map((version) => ({ job, version })))
  const blockers: ReadinessRow[] = []
  const warnings: ReadinessRow[] = []
  for (const { job, version } of wanted) {
    const base = { job: job.job, design: version.design, version: version.version }
    if (version.withdrawn) {
      const message = 'the version was recalled; its labels will stop the web'
      blockers.push({ ...base, code: 'version-withdrawn', message, mend: withdrawnMend })
    } else if (!version.released) {
      const message = 'the pinned version is not released'
      blockers.push({ ...base, code: 'version-not-released', message, mend: releaseMend(base) })
    }
    warnings.push(...supersededRow(job, version))
  }
  return { wanted, blockers, warnings: [...warnings, ...frozen.jobs.flatMap(uncheckedRows)] }
}

function supersededRow(job: FrozenJob, version: FrozenVersion): ReadinessRow[] {
  if (pinOf(job, version.design) !== version.version) return []
  const newer = job.versions.filter(
    (row) =>
      row.design === version.design &&
      row.released &&
      row.version > version.version &&
      row.printVersions.some((print) => version.printVersions.includes(print)),
  )
  const newest = newer.at(-1)?.version
  if (newest === undefined) return []
  return [superseded({ job: job.job, design: version.design, version: version.version }, newest)]
}

const superseded = (of: { job: string; design: string; version: number }, newest?: number): ReadinessRow => ({
  ...of,
  code: 'version-superseded',
  message: 'the ticket pins a version that is not the newest fit',
  mend: 'pin the newest one, or take the pin off the ticket, unless the older artwork is meant',
  measured: of.version,
  ...(newest === undefined ? {} : { limit: newest }),
})

function uncheckedRows(job: FrozenJob): ReadinessRow[] {
  const released = new Set(job.versions.filter((version) => version.released).map((version) => version.design))
  return job.versions
    .filter((version) => !released.has(version.design))
    .map(({ design, version }) => ({
      code: 'version-not-released' as const,
      job: job.job,
      design,
      version,
      message: 'only a checked version exists; its labels would stop the web',
      mend: `if the design is on the roll, ${releaseMend({ job: job.job, design, version })}`,
    }))
}

function withSequence({ frozen, ticket }: Pick<Inquiry, 'frozen' | 'ticket'>, tally: SequenceTally): Versions {
  const rows = tally.groups.map((group) => groupRows(group, frozen.jobs))
  const warnings = [
    ...rows.flatMap((row) => row.warnings),
    ...twiceRows(tally),
    ...lengthRows(ticket, tally),
    ...gapRows(tally),
  ]
  const wanted = wantedOf(frozen.jobs, tally.groups)
  return {
    wanted,
    blockers: [...badRows(tally), ...rows.flatMap((row) => row.blockers)],
    warnings,
    expected: {
      positions: tally.positions,
      labels: tally.labels,
      versions: wanted.map(({ job, version: { design, version }, labels }) => ({
        job: job.job,
        design,
        version,
        labels,
      })),
    },
  }
}

interface Counted extends WantedVersion {
  readonly labels: number
}

const examplesMax = 3

// Groups of several print versions may lead to one version.
function wantedOf(jobs: readonly FrozenJob[], groups: readonly LabelGroup[]): Counted[] {
  const byVersion = new Map<FrozenVersion, Counted>()
  const byName = new Map(jobs.map((job) => [job.job, job]))
  for (const { job: name = '', version, labels, examples, cells } of groups) {
    const job = byName.get(name)
    if (!version || !job) continue
    const known = byVersion.get(version)
    byVersion.set(version, {
      job,
      version,
      labels: (known?.labels ?? 0) + labels,
      examples: [...(known?.examples ?? []), ...examples]
        .toSorted((a, b) => a.position - b.position || a.cell - b.cell)
        .slice(0, examplesMax),
      cells: new Set([...(known?.cells ?? []), ...cells]),
    })
  }
  const order = new Map(jobs.flatMap(({ versions }) => versions).map((version, i) => [version, i]))
  return [...byVersion.values()].toSorted((a, b) => (order.get(a.version) ?? 0) - (order.get(b.version) ?? 0))
}

function groupRows(group: LabelGroup, jobs: readonly FrozenJob[]): Rows {
  const { job, design, print, version, labels, examples, flags } = group
  const base = {
    ...(job === undefined ? {} : { job }),
    ...(design === undefined ? {} : { design }),
    ...(print === undefined ? {} : { print }),
    ...(version ? { version: version.version } : {}),
    labels,
    examples,
  }
  const named = { job: job ?? '', design: design ?? '', version: version?.version }
  const row = (code: ReadinessRow['code'], message: string, { mend }: { mend: string }): ReadinessRow => ({
    ...base,
    code,
    message,
    mend,
  })
  const block = (blocker: ReadinessRow): Rows => ({ blockers: [blocker], warnings: [] })
  if (group.kind === 'unknown') {
    const mend = 'look whether the sequence is that of this roll, and whether a job is missing on the ticket'
    return block(row('unknown-code', 'no job on the ticket knows these codes', { mend }))
  }
  if (group.kind === 'other-job') {
    const message = `these codes belong to ${job}, which is published but not on this ticket`
    return block(row('other-job', message, { mend: `add ${job} to jobs of the ticket, or look for the right roll` }))
  }
  if (flags.includes('withdrawn')) {
    const message = 'the version of these labels was recalled; they will stop the web'
    return block(row('version-withdrawn', message, { mend: withdrawnMend }))
  }
  if (flags.includes('not-released')) {
    const message = 'no version that fits these labels is released'
    const fit = group.version?.version ?? unreleasedFit(group, jobs)
    return block(row('version-not-released', message, { mend: releaseMend({ ...named, version: fit }) }))
  }
  if (flags.includes('print-version-mismatch')) {
    const message = 'the web carries a print version that no version of the design fits'
    const mend = `publish a version of ${design} that fits print version ${print ?? 'of the ticket'}, or look for the right roll`
    return block(row('print-version-mismatch', message, { mend }))
  }
  if (!flags.includes('superseded') || !version) return { blockers: [], warnings: [] }
  return { blockers: [], warnings: [{ ...superseded({ ...named, version: version.version }), ...base }] }
}

// The one to release: the newest that fits what is printed; else the newest of the design.
function unreleasedFit({ job: name, design, print }: LabelGroup, jobs: readonly FrozenJob[]): number | undefined {
  const job = jobs.find((row) => row.job === name)
  const all =
    job?.versions.filter((version) => version.design === design && !version.released && !version.withdrawn) ?? []
  const printed = print ?? job?.printVersion
  const fit = all.filter(({ printVersions }) => printed !== undefined && printVersions.includes(printed))
  return (fit.at(-1) ?? all.at(-1))?.version
}

function twiceRows({ twice }: SequenceTally): ReadinessRow[] {
  if (twice.labels === 0) return []
  return [
    {
      code: 'code-twice',
      message: 'serials of the sequence stand there twice; their second label is skipped as a duplicate',
      mend: 'look whether the press printed numbers twice; the labels have to be made again',
      ...twice,
      measured: twice.labels,
      limit: 0,
    },
  ]
}

function lengthRows({ expectedFrames }: Inquiry['ticket'], { positions }: SequenceTally): ReadinessRow[] {
  if (expectedFrames === undefined || expectedFrames === positions) return []
  return [
    {
      code: 'frames-differ',
      message: 'the sequence has another number of frames than the ticket expects',
      mend: 'look whether the sequence is that of this roll, and mend expectedFrames on the ticket',
      measured: positions,
      limit: expectedFrames,
    },
  ]
}

// Rows that could not be read are told of as such, and leave gaps.
function gapRows({ gaps, findingsTotal }: SequenceTally): ReadinessRow[] {
  const { cells, firstCell, positions, firstPosition } = gaps
  if (findingsTotal > 0 || cells + positions === 0) return []
  const parts = [
    ...(firstCell
      ? [`cells at positions that have others, first cell ${firstCell.cell} at ${firstCell.position}`]
      : []),
    ...(firstPosition === undefined ? [] : [`positions between others, first ${firstPosition}`]),
  ]
  return [
    {
      code: 'sequence-gaps',
      message: `the sequence leaves out ${parts.join('; and ')}: nothing is known of these labels beforehand`,
      mend: 'look whether the sequence is whole; labels that it leaves out are answered like others, but counted nowhere here',
      measured: [...(cells > 0 ? [`${cells} cells`] : []), ...(positions > 0 ? [`${positions} positions`] : [])].join(
        ', ',
      ),
      limit: 0,
    },
  ]
}

function badRows({ findings, findingsTotal }: SequenceTally): ReadinessRow[] {
  const [first] = findings
  if (!first) return []
  const at = first.row === undefined ? '' : ` (row ${first.row})`
  return [
    {
      code: 'sequence-bad',
      message: `rows of the sequence do not fit the frame of the job: ${first.message}${at}`,
      mend: 'mend the CSV and store it again: rollcall ticket put TICKET.json --sequence FILE.csv',
      measured: findingsTotal,
      limit: 0,
    },
  ]
}
