// What is published already of a job, as plain data, and what a new package may not do in its face.
import type { Finding } from '../kernel/problem.ts'
import type { ManifestReport } from './manifest-check.ts'

export interface KnownJob {
  /** The highest package number of the job. */
  readonly lastPackage?: number
  /** Digests of its published packages, by number. */
  readonly packages: Readonly<Record<number, string>>
  /** Digests of its published versions, by `design/version`. */
  readonly versions: Readonly<Record<string, string>>
}

export const nothingKnown: KnownJob = { packages: {}, versions: {} }

/** Whether this very package is published. */
export const isPublished = ({ manifest, digest }: ManifestReport, known: KnownJob): boolean =>
  manifest !== undefined && known.packages[manifest.package] === digest

/** Package numbers only rise, and a version's number stands for one content for ever. */
export function checkKnown({ manifest, versions }: ManifestReport, known: KnownJob): Finding[] {
  if (!manifest) return []
  const file = 'job.json'
  const findings: Finding[] = []
  if (known.lastPackage !== undefined && manifest.package <= known.lastPackage) {
    findings.push({
      code: 'package-number-not-higher',
      file,
      pointer: '/package',
      message: `package ${manifest.package} of ${manifest.job} is not higher than the last one, ${known.lastPackage}`,
      measured: manifest.package,
      limit: known.lastPackage,
    })
  }
  for (const [i, { design, version, digest }] of versions.entries()) {
    const published = known.versions[`${design}/${version}`]
    if (published === undefined || published === digest) continue
    findings.push({
      code: 'version-reused',
      file,
      pointer: `/designs/${i}/version`,
      message: `version ${version} of ${design} is published with other content; give the new content a new number`,
      measured: digest,
      limit: published,
    })
  }
  return findings
}
