// Which versions the labels of a job would be given; readiness and the sums both go by it.
import { type FrozenJob, type FrozenVersion, pinOf } from './freeze.ts'

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
