// The state of a version, derived from its times and its design's other versions.
import { assert } from '../kernel/assert.ts'
import type { VersionState } from './catalogue.ts'

interface Dated {
  readonly version: number
  readonly printVersions: readonly string[]
  readonly releasedAtMs: number | null
  readonly withdrawnAtMs: number | null
}

function stateOf(version: Dated, design: readonly Dated[]): VersionState {
  if (version.withdrawnAtMs !== null) return 'withdrawn'
  if (version.releasedAtMs === null) return 'checked'
  // A higher version counts once it was ever released, even if withdrawn since: it decides all the same (and stops).
  const higher = design.filter((other) => other.version > version.version && other.releasedAtMs !== null)
  const covered = version.printVersions.every((print) => higher.some((other) => other.printVersions.includes(print)))
  return covered ? 'superseded' : 'released'
}

/** States of all versions of one design, by version number. */
export function versionState(design: readonly Dated[]): (version: number) => VersionState {
  const states = new Map(design.map((version) => [version.version, stateOf(version, design)]))
  return (version) => {
    const state = states.get(version)
    assert(state !== undefined, 'a state is asked of a version of the design')
    return state
  }
}
