// Who released and who recalled the versions that a run laid.
import type { Database } from '../../storage/port.ts'
import type { VersionUse } from '../report.ts'

export interface ReleaseRow {
  readonly job: string
  readonly design: string
  readonly version: number
  readonly act: 'release' | 'withdraw'
  readonly atMs: number
  readonly by: string
  readonly second?: string
  readonly why: string
}

type Named = Pick<VersionUse, 'job' | 'design' | 'version'>

const columns = ['job', 'package', 'design', 'version', 'act', 'atMs', 'by', 'second', 'why'] as const

async function actsOf(catalogue: Database['catalogue'], jobs: readonly string[]) {
  return catalogue
    .selectFrom('acts')
    .select(columns)
    .where('job', 'in', jobs)
    .where('act', 'in', ['release', 'withdraw'])
    .orderBy('id')
    .execute()
}

/** In the order of the versions given, then of time. An act on a whole package counts for the versions that it released. */
export async function releasesOf(
  { catalogue }: Pick<Database, 'catalogue'>,
  versions: readonly Named[],
): Promise<readonly ReleaseRow[]> {
  const jobs = [...new Set(versions.map(({ job }) => job))]
  if (jobs.length === 0) return []
  const acts = await actsOf(catalogue, jobs)
  const dated = await catalogue
    .selectFrom('versions')
    .select(['job', 'design', 'version', 'releasedAtMs'])
    .where('job', 'in', jobs)
    .execute()
  const releasedAt = new Map(dated.map((row) => [`${row.job}\n${row.design}\n${row.version}`, row.releasedAtMs]))
  return versions.flatMap(({ job, design, version }) => {
    const atMs = releasedAt.get(`${job}\n${design}\n${version}`)
    const mine = acts.filter((row) => {
      if (row.job !== job) return false
      if (row.package !== null && row.act === 'release') return row.atMs === atMs
      return row.design === design && row.version === version
    })
    return mine.map((row) => ({
      ...{ job, design, version, act: row.act as ReleaseRow['act'], atMs: row.atMs, by: row.by, why: row.why },
      ...(row.second === null ? {} : { second: row.second }),
    }))
  })
}
