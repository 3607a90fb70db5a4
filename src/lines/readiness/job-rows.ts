// Readiness: whether the jobs of a ticket are there, and whether they agree with ticket, line and one another.
import type { FrozenJob } from '../freeze.ts'
import type { Inquiry, ReadinessRow } from './rows.ts'

/** Rows of a ticket's jobs, in its order. */
export function jobRows(inquiry: Inquiry): ReadinessRow[] {
  const { ticket, frozen } = inquiry
  const known = new Set(frozen.jobs.map((job) => job.job))
  const absent = ticket.jobs
    .filter(({ job }) => !known.has(job))
    .map(
      ({ job }): ReadinessRow => ({
        code: 'job-not-published',
        job,
        message: `no package of ${job} is published`,
        mend: 'publish one: rollcall publish FOLDER --by …',
      }),
    )
  return [...absent, ...frozen.jobs.flatMap((job) => [...ownRows(inquiry, job), ...pinRows(job)])]
}

function ownRows({ ticket, line, frozen }: Inquiry, job: FrozenJob): ReadinessRow[] {
  const rows: ReadinessRow[] = []
  const base = { job: job.job }
  const { frame } = job
  if (!job.versions.some((version) => version.released)) {
    rows.push({
      ...base,
      code: 'nothing-released',
      message: 'no version of this job is released',
      mend: `release a package: rollcall release ${job.job} --package … --by … --why …`,
    })
  }
  if (!frame.substrates.includes(ticket.substrate)) {
    rows.push({
      ...base,
      code: 'substrate-not-allowed',
      message: 'the job does not allow the substrate of the ticket',
      mend: 'run it on a substrate that it allows, or mend substrate on the ticket',
      measured: ticket.substrate,
      limit: frame.substrates.join(', '),
    })
  }
  if (frame.webWidthMm > line.webWidthMmMax) {
    rows.push({
      ...base,
      code: 'web-too-wide',
      message: 'the web is wider than the line takes, mm',
      mend: 'run it on a wider line, or slit it first and name its cells on the ticket',
      measured: frame.webWidthMm,
      limit: line.webWidthMmMax,
    })
  }
  const first = frozen.jobs[0]
  if (first && JSON.stringify(first.frame) !== JSON.stringify(frame)) {
    rows.push({
      ...base,
      code: 'geometry-differs',
      message: `frame and cells differ from those of ${first.job}`,
      mend: 'take the job off this ticket and run it alone',
    })
  }
  if (!job.carries.print && !job.printVersion) {
    rows.push({
      ...base,
      code: 'print-version-unstated',
      message: 'the code names no print version, and the ticket does not either',
      mend: 'state it on the ticket: jobs[].printVersion',
    })
  }
  return rows
}

const pinRows = (job: FrozenJob): ReadinessRow[] =>
  Object.entries(job.pins)
    .filter(([design, pin]) => !job.versions.some((row) => row.design === design && row.version === pin))
    .map(([design, pin]) => ({
      code: 'pin-unknown' as const,
      job: job.job,
      design,
      version: pin,
      message: 'the ticket pins a version that is not published, or in none of its packages',
      mend: 'publish it, or pin another version on the ticket',
    }))
