// The catalogue: what is published, in memory, as runs and people need it. Rebuilt from the database at start and after each act.
import type { Rule } from '../codes/index.ts'
import type { Manifest, ManifestLayer } from './manifest.ts'

export type VersionState = 'checked' | 'released' | 'superseded' | 'withdrawn'

/** One immutable version of a design's embellishment artwork. */
export interface VersionRecord {
  readonly job: string
  readonly design: string
  readonly version: number
  /** SHA-256 of the canonical content. */
  readonly digest: string
  readonly state: VersionState
  readonly printVersions: readonly string[]
  readonly layers: readonly ManifestLayer[]
  /** Package numbers that carried it, rising. */
  readonly packages: readonly number[]
  readonly releasedAtMs?: number
  readonly withdrawnAtMs?: number
}

export interface JobRecord {
  readonly job: string
  readonly title: string
  /** Of the newest package. */
  readonly frame: Manifest['frame']
  readonly code: Manifest['code']
  readonly rule: Rule
  /** Digests of the code indexes of a table rule, newest package first. */
  readonly codeIndexes: readonly string[]
  /** Versions of each design, by rising version number. */
  readonly designs: ReadonlyMap<string, readonly VersionRecord[]>
  readonly packages: readonly {
    readonly package: number
    readonly digest: string
    readonly publishedAtMs: number
    readonly by: string
  }[]
}

export interface Catalogue {
  /** Rises with every publish, release and withdrawal. */
  readonly revision: number
  readonly jobs: ReadonlyMap<string, JobRecord>
}

/** Told after a change is durable. `withdrawn` names the versions that a withdrawal just recalled. */
export interface CatalogueChange {
  readonly catalogue: Catalogue
  readonly withdrawn: readonly {
    readonly job: string
    readonly design: string
    readonly version: number
    readonly by: string
    readonly why: string
    readonly second?: string
    readonly key?: string
    readonly secondKey?: string
  }[]
}
